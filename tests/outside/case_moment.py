#!/usr/bin/env python3
"""The moment of a unit in its case by scipy, from vectors over one turn.

    case_moment.py READINGS.csv

A dipole turned about z, a receiver of any attitude in its plane of turning: six
numbers (attitude as a rotation vector, strength, azimuth and elevation in the case)
fitted directly by scipy.optimize.least_squares from many starts, each vector of
whichever sign lies nearer. The program fits nine numbers without signs and takes the
moment out of them; both are of the same readings.
"""

import csv
import json
import sys

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation


def fields(p, angles):
    """The field in the receiver's axes: near by, 3 (m.r) r - m, r along x."""
    strength, azimuth, elevation = np.exp(p[3]), p[4], p[5]
    flat = np.cos(elevation)
    moment = np.stack(
        [flat * np.cos(azimuth + angles), flat * np.sin(azimuth + angles),
         np.full_like(angles, np.sin(elevation))], axis=1)
    return Rotation.from_rotvec(p[:3]).apply(strength * moment * [2, -1, -1])


def main():
    with open(sys.argv[1], newline="") as table:
        rows = list(csv.DictReader(line for line in table if not line.startswith("#")))
    column = lambda name: np.array([float(row[name]) for row in rows])
    angles, u_angles = np.radians(column("angle_deg")), np.radians(column("u_angle_deg"))
    seen = np.stack([column(f"h{axis}_a_per_m") for axis in "xyz"], axis=1)
    u = column("u_a_per_m")

    def residuals(p):
        expected = fields(p, angles)
        sign = np.where(np.sum(expected * seen, axis=1) < 0, -1.0, 1.0)
        way = (fields(p, angles + 1e-4) - fields(p, angles - 1e-4)) / 2e-4
        length = np.linalg.norm(way, axis=1)
        way = way / length[:, None]
        left = seen * sign[:, None] - expected
        along = np.sum(left * way, axis=1)
        across = (left - way * along[:, None]) / u[:, None]
        return np.concatenate([across.ravel(), along / np.hypot(u, length * u_angles)])

    # The receiver's x axis points away from the unit.
    rng = np.random.default_rng(457)
    strength = np.log(np.linalg.norm(seen, axis=1).max() / 2)
    fits = []
    for _ in range(60):
        start = [*rng.normal(0, 0.4, 3), strength, rng.uniform(-1.5, 1.5), rng.uniform(-1, 1)]
        fits.append(least_squares(residuals, start, xtol=1e-12, ftol=1e-12))
    best = min(fits, key=lambda fit: fit.cost)
    deviations = np.sqrt(np.diag(np.linalg.inv(best.jac.T @ best.jac)))
    halves = round(best.x[4] / np.pi)
    azimuth = np.degrees(best.x[4] - halves * np.pi)
    elevation = np.degrees(best.x[5]) * (-1) ** halves
    json.dump(
        {
            "azimuth_deg": [azimuth, np.degrees(deviations[4])],
            "elevation_deg": [elevation, np.degrees(deviations[5])],
            "coplanar_a_per_m": [np.exp(best.x[3]), np.exp(best.x[3]) * deviations[3]],
        },
        sys.stdout,
    )


if __name__ == "__main__":
    main()
