#!/usr/bin/env python3
"""Static field of Helmholtz pairs as magpylib computes it.

Writes magpylib_pair.csv beside this script, the table that
tests/tests/outside/calibration.rs compares with. Needs magpylib 5 or later.

    magpylib_pair.py           write the table
    magpylib_pair.py --check   compute it anew, compare with the committed one

Two equal loops on the z axis, half the spacing on either side of the origin,
the current in the same sense; H along z at places in and about the middle.
"""

import random

import magpylib

from reference_table import ReferenceTable, within

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


if __name__ == "__main__":
    judge = within(RELATIVE_TOLERANCE)
    table = ReferenceTable(__file__, HEADER, COLUMNS, rows(), keys=5, disagreement=judge)
    table.main(__doc__, f"magpylib {magpylib.__version__}")
