#!/usr/bin/env python3
"""Readings over buried transmitters, their fields computed by magpylib.

Writes magpylib_buried.csv beside this script, the table that
tests/tests/outside/location.rs works on. Needs magpylib 5 or later.

    magpylib_buried.py           write the table
    magpylib_buried.py --check   compute it anew, compare with the committed one

Half of the units are dipoles, half small coils. Each is read on a square grid
over 8 m by 8 m of sloping snow: vectors with an error of 3 % of the magnitude on
each component and a sign by chance, or magnitudes with an error of 3 %.
"""

import math
import random

import magpylib
import numpy as np
from scipy.spatial.transform import Rotation

from reference_table import ReferenceTable

RELATIVE_TOLERANCE = 1e-9
UNITS = 12
ERROR = 0.03
COIL_RADIUS = 0.02

HEADER = """\
# Fields over buried transmitters, computed by the Python package magpylib
# (https://magpylib.readthedocs.io) through the script magpylib_buried.py beside
# this file, with errors and signs by chance added; 12 digits. Number of the unit,
# its true place (m) and moment (A m2), place of the reading (m); the components
# read (A/m), or for units read by magnitude the magnitude three times, and u.
"""
COLUMNS = ["unit", "kind", "ux_m", "uy_m", "uz_m", "mx_a_m2", "my_a_m2", "mz_a_m2", "x_m", "y_m"]
COLUMNS += ["z_m", "hx_a_per_m", "hy_a_per_m", "hz_a_per_m", "u_a_per_m"]


def source(number, place, moment):
    if number % 2 == 0:
        return magpylib.misc.Dipole(moment=moment, position=place)
    strength = np.linalg.norm(moment)
    turn, _ = Rotation.align_vectors([moment / strength], [[0, 0, 1]])
    current = strength / (math.pi * COIL_RADIUS**2)
    return magpylib.current.Circle(current=current, diameter=2 * COIL_RADIUS, position=place, orientation=turn)


def rows():
    rng = random.Random(457)
    for number in range(UNITS):
        kind = "magnitude" if number % 3 == 2 else "vector"
        side = 9 if kind == "magnitude" else 5 + number % 2
        rise = rng.uniform(-0.5, 0.5)
        x, y, depth = rng.uniform(-3, 3), rng.uniform(-3, 3), rng.uniform(0.4, 2.5)
        place = [round(v, 3) for v in (x, y, rise * y - depth)]
        moment = np.array([rng.gauss(0, 1) for _ in range(3)])
        moment *= rng.uniform(3e-3, 14e-3) / np.linalg.norm(moment)
        moment = np.array([float(f"{m:.5g}") for m in moment])
        unit = source(number, place, moment)
        for j in range(side):
            for i in range(side):
                at = [round(8 * k / (side - 1) - 4, 3) for k in (i, j)]
                at.append(round(rise * at[1], 3))
                h = magpylib.getH(unit, at)
                magnitude = np.linalg.norm(h)
                if kind == "vector":
                    h = h + [ERROR * magnitude * rng.gauss(0, 1) for _ in range(3)]
                    h = h * rng.choice([-1, 1])
                    u = ERROR * np.linalg.norm(h)
                else:
                    h = np.full(3, magnitude * (1 + ERROR * rng.gauss(0, 1)))
                    u = ERROR * h[0]
                given = [number, kind, *place, *moment.tolist(), *at]
                yield [*map(str, given), *(f"{v:.11e}" for v in [*h, u])]


def disagreement(old, new):
    scale = max(abs(v) for v in old[:3])
    wrong = any(abs(a - b) > RELATIVE_TOLERANCE * scale for a, b in zip(old, new))
    return f"committed {old}, new {new}" if wrong else None


if __name__ == "__main__":
    table = ReferenceTable(__file__, HEADER, COLUMNS, rows(), keys=11, disagreement=disagreement)
    table.main(__doc__, f"magpylib {magpylib.__version__}")
