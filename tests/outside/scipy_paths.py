#!/usr/bin/env python3
"""Length of the way along a dipole's field over snow, as scipy integrates it.

Writes scipy_paths.csv beside this script, the table that tests/tests/outside/paths.rs
compares with: a receiver 1 m straight above sloping snow follows the field along the
snow, to the side on which it grows, until it is 3 m from the point square above the
unit, or less than a twentieth of the field is along the snow, or the field has fallen
by 1 dB: then the way ends where that was greatest. All in space, without coordinates
laid along the slope.

    scipy_paths.py           write the table
    scipy_paths.py --check   compute it anew, compare with the committed one
"""

import numpy as np
import scipy
from scipy.integrate import solve_ivp

from reference_table import ReferenceTable, within

HEADER = """\
# Length (m) of the way along the field of a buried dipole to 3 m from it (reached: 1),
# or to where the field stands square to the snow or is greatest on it (0), by
# scipy.integrate.solve_ivp (DOP853) through the script scipy_paths.py beside this file.
# Angles in degrees: slope and the bearing down it; bearing and dip of the moment. Depth
# straight down, place on the map below the receiver in metres from the unit.
"""
COLUMNS = ["slope", "down", "bearing", "dip", "depth_m", "x_m", "y_m", "reached", "length_m"]
HEIGHT_M = 1.0
CIRCLE_M = 3.0
FALLEN = 0.89
LEAST_PART = 0.05
K = 2 * np.pi * 457e3 / 299792458.0

SLOPES = [(0.0, 0.0), (25.0, 150.0)]
LIES = [(30.0, 0.0), (100.0, 35.0), (0.0, 70.0), (0.0, 90.0)]
STARTS = [(1.0, 14.0, 6.0), (1.7, -9.0, 15.0), (0.6, 21.0, -11.0)]


def height(slope, down, x, y):
    towards = np.radians(down)
    return -np.tan(np.radians(slope)) * (x * np.sin(towards) + y * np.cos(towards))


def field(moment, offset):
    r = np.linalg.norm(offset)
    n = offset / r
    kr = K * r
    radial = n * n.dot(moment)
    near = (3 * radial - moment) * (1 + 1j * kr) + (moment - radial) * kr**2
    return np.exp(-1j * kr) / (4 * np.pi * r**3) * near


def length(slope, down, bearing, dip, depth, x, y):
    normal = np.array([-height(slope, down, 1, 0), -height(slope, down, 0, 1), 1.0])
    normal /= np.linalg.norm(normal)
    b, d = np.radians(bearing), np.radians(dip)
    moment = np.array([np.cos(d) * np.sin(b), np.cos(d) * np.cos(b), -np.sin(d)])
    unit = np.array([0.0, 0.0, -depth])
    start = np.array([x, y, height(slope, down, x, y) + HEIGHT_M])
    # The point of the receiver's plane square above the unit.
    foot = unit + normal * normal.dot(start - unit)

    def along(place):
        h = field(moment, place - unit)
        flat = h - normal * normal.dot(h)
        # The long axis of the ellipse that the real field's tip runs round.
        turned = flat * np.exp(-0.5j * np.angle(flat.dot(flat)))
        return turned.real / np.linalg.norm(turned.real)

    def strength(place):
        return np.linalg.norm(field(moment, place - unit))

    ahead = along(start)
    if strength(start + 1e-4 * ahead) < strength(start - 1e-4 * ahead):
        ahead = -ahead
    last = [ahead]

    def slope_of(_, place):
        direction = along(place)
        if direction.dot(last[0]) < 0:
            direction = -direction
        last[0] = direction
        return direction

    def circle(_, place):
        return np.linalg.norm(place - foot) - CIRCLE_M

    circle.terminal = True
    done = solve_ivp(
        slope_of, (0, 90), start, "DOP853",
        events=circle, rtol=1e-10, atol=1e-10, max_step=0.2, dense_output=True,
    )
    walked = np.arange(0, done.t[-1], 0.005)
    fields = [field(moment, place - unit) for place in done.sol(walked).T]
    strengths = np.array([np.linalg.norm(h) for h in fields])
    flat = np.array([np.linalg.norm(h - normal * normal.dot(h)) for h in fields])
    fallen = strengths < FALLEN * np.maximum.accumulate(strengths)
    upright = flat < LEAST_PART * strengths
    first = [np.argmax(ends) if ends.any() else len(walked) for ends in (fallen, upright)]
    if first[1] < first[0]:
        return ["0", f"{walked[first[1]]:.6f}"]
    if first[0] < len(walked):
        return ["0", f"{walked[np.argmax(strengths[: first[0]])]:.6f}"]
    assert done.status == 1, "the way does not end"
    return ["1", f"{done.t[-1]:.6f}"]


def rows():
    for slope in SLOPES:
        for lie in LIES:
            for start in STARTS:
                yield [repr(v) for v in (*slope, *lie, *start)] + length(*slope, *lie, *start)


if __name__ == "__main__":
    table = ReferenceTable(
        __file__, HEADER, COLUMNS, rows(), keys=8, disagreement=within(0, absolute=1e-4)
    )
    table.main(__doc__, f"scipy {scipy.__version__}")
