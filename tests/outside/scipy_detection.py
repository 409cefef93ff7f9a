#!/usr/bin/env python3
"""Probability of detection as scipy computes it.

Writes scipy_detection.csv beside this script, the table that
tests/tests/outside/calibration.rs compares with.

    scipy_detection.py           write the table
    scipy_detection.py --check   compute it anew, compare with the committed one

The matched filters' statistic over n axes is half of a chi-squared variable of
2n degrees of freedom, noncentral by twice the energy-to-noise ratio.
"""

import argparse
import csv
import sys
from pathlib import Path

import scipy
from scipy import stats

TABLE = Path(__file__).with_suffix(".csv")
RELATIVE_TOLERANCE = 1e-8

HEADER = """\
# Probability that a pulse of that energy-to-noise ratio passes the threshold,
# computed by the Python package scipy (https://scipy.org) through the script
# scipy_detection.py beside this file: the upper tail of a noncentral
# chi-squared variable.
"""
COLUMNS = ["axes", "energy", "threshold", "probability"]


def rows():
    for axes in (1, 3):
        for threshold in (5.0, 15.0, 21.64, 29.0):
            for energy in (0.5, 4.0, 12.0, 25.0, 37.0, 60.0, 120.0):
                tail = stats.ncx2.sf(2 * threshold, 2 * axes, 2 * energy)
                yield [str(axes), repr(energy), repr(threshold), f"{tail:.11e}"]


def write():
    with TABLE.open("w", newline="") as out:
        out.write(HEADER)
        table = csv.writer(out, lineterminator="\n")
        table.writerow(COLUMNS)
        table.writerows(rows())


def check():
    with TABLE.open(newline="") as committed:
        table = list(csv.reader(line for line in committed if not line.startswith("#")))
    anew = [COLUMNS, *rows()]
    if len(table) != len(anew) or [row[:3] for row in table] != [row[:3] for row in anew]:
        return [f"{TABLE.name}: other rows or columns than the script makes"]
    wrong = []
    for number, (old, new) in enumerate(zip(table[1:], anew[1:]), start=1):
        off = abs(float(old[-1]) / float(new[-1]) - 1)
        if not off <= RELATIVE_TOLERANCE:
            wrong.append(f"row {number}: committed and new probability differ by {off:.1e}")
    return wrong


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--check", action="store_true", help="compare, do not write")
    if not arguments.parse_args().check:
        write()
        return
    wrong = check()
    if wrong:
        sys.exit("\n".join(wrong))
    print(f"{TABLE.name}: {len(list(rows()))} rows agree, scipy {scipy.__version__}")


if __name__ == "__main__":
    main()
