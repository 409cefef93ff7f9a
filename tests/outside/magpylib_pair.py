#!/usr/bin/env python3
"""Static field of Helmholtz pairs as magpylib computes it.

Writes magpylib_pair.csv beside this script, the table that
tests/tests/outside/calibration.rs compares with. Needs magpylib 5 or later.

    magpylib_pair.py           write the table
    magpylib_pair.py --check   compute it anew, compare with the committed one

Two equal loops on the z axis, half the spacing on either side of the origin,
the current in the same sense; H along z at places in and about the middle.
"""

import argparse
import csv
import random
import sys
from pathlib import Path

import magpylib

TABLE = Path(__file__).with_suffix(".csv")
RELATIVE_TOLERANCE = 1e-9
ROWS = 40

HEADER = """\
# H along the axis of two equal loops, computed by the Python package magpylib
# (https://magpylib.readthedocs.io) through the script magpylib_pair.py beside
# this file; 12 digits. Ampere-turns of each loop, radius and spacing of the
# pair, place off the axis and along it from the middle.
"""
COLUMNS = ["ampere_turns", "radius_m", "spacing_m", "offset_m", "distance_m", "h_a_per_m"]


def six_digits(value):
    return float(f"{value:.6g}")


def geometries():
    rng = random.Random(457)
    for number in range(ROWS):
        radius = 10 ** rng.uniform(-1.5, 0.5)
        # A true Helmholtz pair, its very middle first, then pairs that are not quite.
        spacing = radius if number < ROWS // 2 else radius * rng.uniform(0.8, 1.2)
        reach = 0.0 if number == 0 else 0.4 * radius
        row = [10 ** rng.uniform(-6, 1), radius, spacing, rng.uniform(0, reach), rng.uniform(-reach, reach)]
        yield [six_digits(v) for v in row]


def field(ampere_turns, radius, spacing, offset, distance):
    loops = [
        magpylib.current.Circle(current=ampere_turns, diameter=2 * radius, position=(0, 0, z))
        for z in (-spacing / 2, spacing / 2)
    ]
    return magpylib.getH(loops, (offset, 0, distance), sumup=True)[2]


def rows():
    for geometry in geometries():
        yield [*(repr(v) for v in geometry), f"{field(*geometry):.11e}"]


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
    if len(table) != len(anew) or table[0] != anew[0]:
        return [f"{TABLE.name}: other rows or columns than the script makes"]
    wrong = []
    for number, (old, new) in enumerate(zip(table[1:], anew[1:]), start=1):
        if old[:-1] != new[:-1]:
            wrong.append(f"row {number}: another geometry")
            continue
        off = abs(float(old[-1]) / float(new[-1]) - 1)
        if not off <= RELATIVE_TOLERANCE:
            wrong.append(f"row {number}: committed and new field differ by {off:.1e}")
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
    print(f"{TABLE.name}: {ROWS} rows agree, magpylib {magpylib.__version__}")


if __name__ == "__main__":
    main()
