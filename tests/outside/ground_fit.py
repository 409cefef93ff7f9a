#!/usr/bin/env python3
"""A dipole over snow and soil fitted to readings by scipy, with empymod's kernels.

    ground_fit.py READINGS.csv ROW

The ground is that of captures/ground.toml, the unit 1 m deep, the coil 1 m above the
snow; the reading in ROW (from 1) is left out. Fitted are the logarithms of moment and
of the soil's resistivity, readings weighted by their stated uncertainty.
"""

import csv
import json
import math
import sys

import numpy as np
from scipy.optimize import least_squares

import empymod_ground

RISE = 2.0  # coil over unit, m


def field(distance, coaxial, resistivity):
    """Of 1 A m2 along the coil, which lies as the alignment says."""
    rho = math.sqrt(distance**2 - RISE**2)
    axis = np.array([rho / distance, 0, RISE / distance] if coaxial else [0, 1, 0])
    soil = [1 / resistivity, 15.0]
    # Two layers of one soil: the table's script asks for two above the bottom.
    row = [2.0, 1e-6, 1.5, 1.0, *soil, *soil, -1.0, rho, 0.0, 1.0, *axis]
    own = {"dlf": empymod_ground.own_filter(row), "pts_per_dec": 0}
    return abs(np.dot(empymod_ground.model(row, ht="dlf", htarg=own), axis))


def main():
    path, left_out = sys.argv[1], int(sys.argv[2])
    with open(path, newline="") as table:
        rows = list(csv.DictReader(line for line in table if not line.startswith("#")))
    rows = [row for number, row in enumerate(rows, start=1) if number != left_out]

    def residuals(p):
        moment, resistivity = np.exp(p)
        return [
            math.log(h / (moment * field(float(row["distance_m"]), coaxial, resistivity))) * h / u
            for row in rows
            for h, u in [(float(row["field_a_per_m"]), float(row["u_field_a_per_m"]))]
            for coaxial in [row["alignment"] == "coaxial"]
        ]

    fit = least_squares(residuals, np.log([6e-3, 100.0]), diff_step=1e-4, xtol=1e-8, ftol=1e-10)
    freedom = len(fit.fun) - 2
    covariance = np.linalg.inv(fit.jac.T @ fit.jac) * max(1, 2 * fit.cost / freedom)
    values, relative = np.exp(fit.x), np.sqrt(np.diag(covariance))
    names = ["moment_a_m2", "soil_resistivity_ohm_m"]
    json.dump({n: [v, v * r] for n, v, r in zip(names, values, relative)}, sys.stdout)


if __name__ == "__main__":
    main()
