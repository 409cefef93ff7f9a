"""A committed table of reference values, and the run that makes it anew.

A script of this folder makes the rows of the CSV file of its own name; called
with --check it compares instead of writing.
"""

import argparse
import csv
import math
import sys
from pathlib import Path


class ReferenceTable:
    """Rows of text under COLUMNS, below a header of comment lines.

    The first `keys` columns say what is computed and must be the same to the
    letter; `disagreement(old, new)` judges the rest of a row and returns what is
    wrong with it, or None.
    """

    def __init__(self, script, header, columns, rows, keys, disagreement):
        self.path = Path(script).with_suffix(".csv")
        self.header, self.columns, self.keys = header, columns, keys
        self.rows, self.disagreement = list(rows), disagreement

    def write(self):
        with self.path.open("w", newline="") as out:
            out.write(self.header)
            table = csv.writer(out, lineterminator="\n")
            table.writerow(self.columns)
            table.writerows(self.rows)

    def check(self):
        with self.path.open(newline="") as committed:
            table = list(csv.reader(line for line in committed if not line.startswith("#")))
        if len(table) != 1 + len(self.rows) or table[0] != self.columns:
            return [f"{self.path.name}: other rows or columns than the script makes"]
        wrong = []
        for number, (old, new) in enumerate(zip(table[1:], self.rows), start=1):
            if old[: self.keys] != new[: self.keys]:
                wrong.append(f"row {number}: another argument")
                continue
            what = self.disagreement(*([float(v) for v in row[self.keys :]] for row in (old, new)))
            if what:
                wrong.append(f"row {number}: {what}")
        return wrong

    def main(self, description, made_with):
        arguments = argparse.ArgumentParser(description=description.splitlines()[0])
        arguments.add_argument("--check", action="store_true", help="compare, do not write")
        if not arguments.parse_args().check:
            self.write()
            return
        wrong = self.check()
        if wrong:
            sys.exit("\n".join(wrong))
        print(f"{self.path.name}: {len(self.rows)} rows agree, {made_with}")


def within(relative, absolute=0.0):
    """Judges rows of one number."""

    def disagreement(old, new):
        agree = math.isclose(old[0], new[0], rel_tol=relative, abs_tol=absolute)
        return None if agree else f"committed {old[0]!r}, new {new[0]!r}"

    return disagreement
