#!/usr/bin/env python3
"""Static fields of dipoles and circular loops as magpylib computes them.

Writes magpylib_fields.csv beside this script, the table that
tests/tests/outside/fields.rs compares with. Needs magpylib 5 or later.

    magpylib_fields.py           write the table
    magpylib_fields.py --check   compute it anew, compare with the committed one

The geometries come from a fixed seed and are rounded to six digits, so the
numbers in the table are the numbers both sides compute with.
"""

import math
import random

import magpylib
import numpy as np
from scipy.spatial.transform import Rotation

from reference_table import ReferenceTable

RELATIVE_TOLERANCE = 1e-9  # of the magnitude of the field
ROWS_EACH = 48

HEADER = """\
# Static H of a magnetic dipole or a circular loop, computed by the Python
# package magpylib (https://magpylib.readthedocs.io) through the script
# magpylib_fields.py beside this file; 12 digits, the same for every version.
# source: dipole or loop. strength: moment in A m2, or current in A.
# radius_m: of the loop, 0 for a dipole. axis: unnormalised direction of the
# moment, right-handed to the current. d: observer minus centre, m.
"""
COLUMNS = [
    "source", "strength", "radius_m",
    "axis_x", "axis_y", "axis_z",
    "dx_m", "dy_m", "dz_m",
    "hx_a_per_m", "hy_a_per_m", "hz_a_per_m",
]  # fmt: skip


def six_digits(value):
    return float(f"{value:.6g}")


def direction(rng):
    return np.array([rng.gauss(0, 1) for _ in range(3)])


def geometries():
    """(source, strength, radius, axis, offset) from close up to far away."""
    rng = random.Random(457)
    for source in ["dipole", "loop"]:
        for _ in range(ROWS_EACH):
            strength = 10 ** rng.uniform(-3, 2)
            radius = 10 ** rng.uniform(-2, 1) if source == "loop" else 0.0
            reach = radius * 10 ** rng.uniform(-2, 3) if radius else 10 ** rng.uniform(-1, 2)
            towards = direction(rng)
            offset = towards / np.linalg.norm(towards) * reach
            row = [strength, radius, *direction(rng), *offset]
            strength, radius, *rest = map(six_digits, row)
            yield source, strength, radius, np.array(rest[:3]), np.array(rest[3:])


def field(source, strength, radius, axis, offset):
    axis = axis / np.linalg.norm(axis)
    if source == "dipole":
        return magpylib.misc.Dipole(moment=strength * axis).getH(offset)
    # magpylib's loop lies in the xy plane; turn z onto the axis.
    turn = np.cross([0, 0, 1], axis)
    angle = math.atan2(np.linalg.norm(turn), axis[2])
    orientation = Rotation.from_rotvec(turn / np.linalg.norm(turn) * angle)
    loop = magpylib.current.Circle(
        current=strength, diameter=2 * radius, orientation=orientation
    )
    return loop.getH(offset)


def rows():
    for source, strength, radius, axis, offset in geometries():
        h = field(source, strength, radius, axis, offset)
        yield [source, *(repr(float(v)) for v in [strength, radius, *axis, *offset]),
               *(f"{v:.11e}" for v in h)]  # fmt: skip


def disagreement(old, new):
    off = np.linalg.norm(np.subtract(old, new)) / np.linalg.norm(new)
    return None if off <= RELATIVE_TOLERANCE else f"committed and new field differ by {off:.1e}"


if __name__ == "__main__":
    table = ReferenceTable(__file__, HEADER, COLUMNS, rows(), keys=9, disagreement=disagreement)
    table.main(__doc__, f"magpylib {magpylib.__version__}")
