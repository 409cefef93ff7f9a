#!/usr/bin/env python3
"""A buried dipole fitted to readings by scipy.

    buried_fit.py READINGS.csv X,Y,Z MX,MY,MZ

The table has the columns of `coilrig locate`. The field is that of a dipole with
all three terms at 457 kHz (any textbook on antennas, from memory); a vector is
compared, in the sign that fits better, with the real part of the field once its
phase is turned so that this part is longest. Magnitudes are compared by ratio.
scipy begins at the place and moment given and says where it ends, with the
covariance times the reduced chi squared where that is over 1.
"""

import csv
import json
import sys

import numpy as np
from scipy.constants import speed_of_light
from scipy.optimize import least_squares

K = 2 * np.pi * 457e3 / speed_of_light  # rad/m


def field(place, moment, at):
    d = at - place
    r = np.linalg.norm(d, axis=1)[:, None]
    n = d / r
    radial = n * (n @ moment)[:, None]
    near = (3 * radial - moment) * (1 + 1j * K * r)
    return np.exp(-1j * K * r) / (4 * np.pi * r**3) * (near + (K * r) ** 2 * (moment - radial))


def main():
    path, place, moment = sys.argv[1:]
    with open(path, newline="") as table:
        rows = list(csv.DictReader(table))
    columns = lambda *names: np.array([[float(row[name]) for name in names] for row in rows])
    at, u = columns("x_m", "y_m", "z_m"), columns("u_a_per_m")
    vectors = "hx_a_per_m" in rows[0]
    h = columns("hx_a_per_m", "hy_a_per_m", "hz_a_per_m") if vectors else columns("h_a_per_m")
    scale = np.linalg.norm(np.array(moment.split(","), dtype=float))

    def residuals(p):
        computed = field(p[:3], scale * p[3:], at)
        if not vectors:
            magnitude = np.linalg.norm(computed, axis=1)[:, None]
            return (np.log(h / magnitude) * h / u).ravel()
        phase = np.angle((computed**2).sum(axis=1)) / 2
        long = (computed * np.exp(-1j * phase)[:, None]).real
        sign = np.where((long * h).sum(axis=1) < 0, -1, 1)[:, None]
        return ((h - sign * long) / u).ravel()

    start = np.concatenate([np.array(place.split(","), dtype=float), np.array(moment.split(","), dtype=float) / scale])
    fit = least_squares(residuals, start, jac="3-point", xtol=1e-14, ftol=1e-14, gtol=1e-14)
    freedom = len(fit.fun) - 6
    covariance = np.linalg.inv(fit.jac.T @ fit.jac) * max(1, 2 * fit.cost / freedom)
    units = np.array([1, 1, 1, scale, scale, scale])
    result = {
        "parameters": list(fit.x * units),
        "u": list(np.sqrt(np.diag(covariance)) * units),
        "chi_squared": 2 * fit.cost,
    }
    json.dump(result, sys.stdout)


if __name__ == "__main__":
    main()
