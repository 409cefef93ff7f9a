#!/usr/bin/env python3
"""Fields of magnetic dipoles over and in layered ground as empymod has them.

Writes empymod_ground.csv beside this script, the table that
tests/tests/outside/ground.rs compares with.

    empymod_ground.py           write the table
    empymod_ground.py --check   compute it anew, compare with the committed one

empymod takes magnetic dipoles as sources by msrc="b": the field is then H in A/m
of a loop of 1 A m2 (msrc=True would be a magnetic current of 1 V, which is j omega
mu times as much). Its z axis points down, here z points up: vertical moments and
fields change their sign. Time factor exp(+j omega t) in both.

Its usual digital filters put few points on each decade of wave numbers and run
over the branch point of air, where the field of a horizontal dipole comes out
wrong by up to some per cent, 2 % at 60 m over 100 ohm m; its quadratures
interpolate the kernel and do not get there either. So each distance gets a filter
of its own here: the nodes of a Gauss rule with as many panels as it takes, set
close about every branch point, times the Bessel functions. The kernels are
empymod's. The column dlf_off says how far its default filter is off this.
"""

import math
import random

import empymod
import numpy as np
from scipy.constants import speed_of_light
from scipy.special import j0, j1

from reference_table import ReferenceTable

FREQUENCY = 457e3
ROWS = 120
RELATIVE_TOLERANCE = 1e-7  # of the magnitude of the field
INSULATOR = 1e20  # ohm m

HEADER = """\
# H of a magnetic dipole in air (z > 0), two layers and a half-space below, at
# 457 kHz, by the kernels of the Python package empymod through the script
# empymod_ground.py beside this file, which says how. 12 digits.
# rho_m, phi_rad: observer from the source, horizontally. z: up, 0 the surface.
# dlf_off: the default filter of empymod off these values, of the magnitude.
"""
LAYERS = [
    f"{name}_{i}"
    for i in (1, 2, 3)
    for name in ("thickness_m", "conductivity_s_per_m", "relative_permittivity")
    if (name, i) != ("thickness_m", 3)
]
COLUMNS = (
    LAYERS
    + ["source_z_m", "rho_m", "phi_rad", "observer_z_m", "mx_a_m2", "my_a_m2", "mz_a_m2"]
    + [f"h{axis}_{part}_a_per_m" for axis in "xyz" for part in ("re", "im")]
    + ["dlf_off"]
)


def six_digits(value):
    return float(f"{value:.6g}")


def geometries():
    """Rows of layers, places and moment; from bare loam to ice on rock."""
    rng = random.Random(457)
    while True:
        snow = [rng.uniform(0.3, 3), rng.choice([0, 1e-7, 1e-6, 1e-5, 1e-4]), rng.uniform(1.2, 3)]
        soil = [rng.uniform(0.3, 5), 10 ** rng.uniform(-4, -1), rng.uniform(3, 40)]
        rock = [10 ** rng.uniform(-5, -0.5), rng.uniform(3, 30)]
        row = snow + soil + rock
        if rng.random() < 0.3:  # two layers of snow
            row[3:6] = [rng.uniform(0.3, 2), 1e-5, rng.uniform(1.5, 3)]
        deep = row[0] + row[3]
        source = rng.choice([-rng.uniform(0.1, row[0]), -rng.uniform(0.1, deep + 1)])
        observer = rng.choice([rng.uniform(0.1, 3), -rng.uniform(0.1, deep + 1)])
        rho = 10 ** rng.uniform(math.log10(0.5), 2)
        row += [source, rho, rng.uniform(0, 2 * math.pi), observer]
        row += [rng.gauss(0, 1) for _ in range(3)]
        row = [six_digits(v) for v in row]
        if spacing(row) > 0.3:
            yield row


def spacing(row):
    """Least path of waves that are integrated: d of exp(-lambda d)."""
    boundaries = [0.0, -row[0], -row[0] - row[3]]
    source, observer = row[8], row[11]
    layer = [sum(z < b for b in boundaries) for z in (source, observer)]
    if layer[0] != layer[1]:
        return abs(source - observer)
    return min(abs(source - b) + abs(observer - b) for b in boundaries)


def model(row, **transform):
    depths = [0.0, row[0], row[0] + row[3]]
    resistivities = [INSULATOR] + [1 / c if c else INSULATOR for c in (row[1], row[4], row[6])]
    permittivities = [1.0, row[2], row[5], row[7]]
    source, rho, phi, observer, *moment = row[8:]
    x, y = rho * math.cos(phi), rho * math.sin(phi)
    azimuth = math.degrees(math.atan2(moment[1], moment[0]))
    dip = math.degrees(math.atan2(-moment[2], math.hypot(*moment[:2])))
    h = empymod.bipole(
        src=[0, 0, -source, azimuth, dip],
        rec=[[x] * 3, [y] * 3, -observer, [0, 90, 0], [0, 0, 90]],
        depth=depths, res=resistivities, epermH=permittivities, epermV=permittivities,
        freqtime=FREQUENCY, msrc="b", mrec=True, xdirect=True, verb=0, **transform,
    )  # fmt: skip
    return np.asarray(h) * np.linalg.norm(moment) * [1, 1, -1]


def own_filter(row):
    rho = row[9]
    wave_number = 2 * np.pi * FREQUENCY / speed_of_light
    branches = sorted(wave_number * math.sqrt(e) for e in {1.0, row[2], row[5], row[7]})
    last = branches[-1] + 0.3
    end = max(50 / spacing(row), 2 * last)
    marks = [0.0, *branches, last]
    edges = {0.0, last, end}
    for low, high in zip(marks, marks[1:]):
        middle = (low + high) / 2
        shrinking = (middle - low) * 0.5 ** np.arange(44)
        edges |= {middle, *(low + shrinking), *(high - shrinking)}
    edges |= {*np.arange(last, end, min(2.5 / rho, 0.5 * last))}
    edges |= {*np.arange(0, last, 2.5 / rho)}
    edges = np.array(sorted(edges))
    edges = edges[np.concatenate([[True], np.diff(edges) > 1e-16])]
    nodes, weights = np.polynomial.legendre.leggauss(14)
    half = np.diff(edges)[:, None] / 2
    wave_numbers = (edges[:-1, None] + half * (1 + nodes)).ravel()
    weights = (half * weights).ravel()
    own = empymod.filters.DigitalFilter("own")
    own.base = wave_numbers * rho
    own.j0 = weights * rho * j0(own.base)
    own.j1 = weights * rho * j1(own.base)
    own.factor = np.array([1.0])  # only for filters of even spacing
    return own


def rows():
    for row, _ in zip(geometries(), range(ROWS)):
        h = model(row, ht="dlf", htarg={"dlf": own_filter(row), "pts_per_dec": 0})
        usual = model(row)
        off = np.linalg.norm(usual - h) / np.linalg.norm(h)
        numbers = [part for value in h for part in (value.real, value.imag)]
        yield [*(repr(v) for v in row), *(f"{v:.11e}" for v in numbers), f"{off:.1e}"]


def disagreement(old, new):
    old, new = np.array(old[:6]), np.array(new[:6])
    off = np.linalg.norm(old - new) / np.linalg.norm(new)
    return None if off <= RELATIVE_TOLERANCE else f"committed and new field differ by {off:.1e}"


if __name__ == "__main__":
    table = ReferenceTable(__file__, HEADER, COLUMNS, rows(), keys=15, disagreement=disagreement)
    table.main(__doc__, f"empymod {empymod.__version__}")
