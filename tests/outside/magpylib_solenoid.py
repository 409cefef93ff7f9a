#!/usr/bin/env python3
"""Static fields of finite solenoids as magpylib computes them.

Writes magpylib_solenoid.csv beside this script, the table that
tests/tests/outside/fields.rs compares with. A solenoid without gaps has the B of a
cylinder magnetised evenly by NI/L, inside as well as outside.

    magpylib_solenoid.py           write the table
    magpylib_solenoid.py --check   compute it anew, compare with the committed one
"""

import math
import random

import magpylib
import numpy as np
from scipy.constants import mu_0

from reference_table import ReferenceTable

RELATIVE_TOLERANCE = 1e-9  # of the magnitude of the field
ROWS = 60

HEADER = """\
# Static H of a solenoid of one layer about the z axis, computed by the Python
# package magpylib through the script magpylib_solenoid.py beside this file; 12
# digits. ampere_turns: turns times current. rho, z: observer from the centre.
"""
COLUMNS = ["ampere_turns", "radius_m", "length_m", "rho_m", "z_m", "hrho_a_per_m", "hz_a_per_m"]


def geometries():
    """From short coils to thin rods, from inside the winding to five lengths away."""
    rng = random.Random(457)
    while True:
        radius = 10 ** rng.uniform(-3, 0)
        length = radius * 10 ** rng.uniform(-1, 1.7)
        reach = math.hypot(radius, length / 2) * 10 ** rng.uniform(-1, 0.9)
        angle = rng.uniform(0, math.pi)
        row = [10 ** rng.uniform(-1, 2), radius, length]
        row += [reach * math.sin(angle), reach * math.cos(angle)]
        yield [float(f"{v:.6g}") for v in row]


def rows():
    for row, _ in zip(geometries(), range(ROWS)):
        ampere_turns, radius, length, rho, z = row
        rod = magpylib.magnet.Cylinder(
            polarization=(0, 0, mu_0 * ampere_turns / length), dimension=(2 * radius, length)
        )
        b = rod.getB((rho, 0, z))
        yield [*(repr(v) for v in row), f"{b[0] / mu_0:.11e}", f"{b[2] / mu_0:.11e}"]


def disagreement(old, new):
    off = np.linalg.norm(np.subtract(old, new)) / np.linalg.norm(new)
    return None if off <= RELATIVE_TOLERANCE else f"committed and new field differ by {off:.1e}"


if __name__ == "__main__":
    table = ReferenceTable(__file__, HEADER, COLUMNS, rows(), keys=5, disagreement=disagreement)
    table.main(__doc__, f"magpylib {magpylib.__version__}")
