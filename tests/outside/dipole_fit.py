#!/usr/bin/env python3
"""A dipole fitted to readings of field over distance by scipy.

    dipole_fit.py READINGS.csv no|yes

The field is that of a dipole with all three terms (any textbook on antennas,
from memory): coaxial m/(2 pi r^3) |1 + jkr|, coplanar m/(4 pi r^3)
|1 + jkr - (kr)^2|. The second argument says whether an error that all distances
share is fitted. Readings are weighted by their stated uncertainty, covariances
multiplied by the reduced chi squared where that is over 1. Fitted twice, with
residuals of the field and of its logarithm, which bracket any sensible weighting
of readings that are a few per cent uncertain.
"""

import csv
import json
import sys

import numpy as np
from scipy.constants import speed_of_light
from scipy.optimize import brentq, least_squares

K = 2 * np.pi * 457e3 / speed_of_light  # rad/m
THRESHOLD = 80e-9  # A/m


def dipole(moment, r, coaxial):
    kr = K * r
    axis = moment / (2 * np.pi * r**3) * np.abs(1 + 1j * kr)
    beside = moment / (4 * np.pi * r**3) * np.abs(1 + 1j * kr - kr**2)
    return np.where(coaxial, axis, beside)


def fitted(residual, start):
    """Parameters and their covariance."""
    fit = least_squares(residual, start, x_scale=np.abs(start) + 0.1, xtol=1e-14, ftol=1e-14)
    freedom = len(fit.fun) - len(start)
    covariance = np.linalg.inv(fit.jac.T @ fit.jac) * max(1, 2 * fit.cost / freedom)
    return fit.x, covariance


def main():
    path, with_offset = sys.argv[1], sys.argv[2] == "yes"
    with open(path, newline="") as table:
        rows = list(csv.DictReader(line for line in table if not line.startswith("#")))
    r, h, u = (
        np.array([float(row[name]) for row in rows])
        for name in ["distance_m", "field_a_per_m", "u_field_a_per_m"]
    )
    coaxial = np.array([row["alignment"] == "coaxial" for row in rows])

    def linear(theory):
        return (h - theory) / u

    def logarithmic(theory):
        return np.log(h / theory) * h / u

    results = []
    for difference in [linear, logarithmic]:
        # The moment by its logarithm: readings at 2 m and 20 m alike then.
        start = [np.log(np.median(h / dipole(1.0, r, coaxial)))] + [0.0] * with_offset

        def model(p):
            return dipole(np.exp(p[0]), r + (p[1] if with_offset else 0.0), coaxial)

        p, covariance = fitted(lambda p: difference(model(p)), start)
        moment = np.exp(p[0])
        # A free power with an intercept for each alignment.
        q, q_covariance = fitted(
            lambda q: difference(np.exp(np.where(coaxial, q[1], q[2])) * r ** q[0]),
            [-3.0, np.log(moment / (2 * np.pi)), np.log(moment / (4 * np.pi))],
        )
        results.append(
            {
                "moment_a_m2": [moment, moment * covariance[0, 0] ** 0.5],
                "offset_m": [p[1], covariance[1, 1] ** 0.5] if with_offset else None,
                "slope": [q[0], q_covariance[0, 0] ** 0.5],
                "range_m": [
                    brentq(lambda x: dipole(moment, x, way) - THRESHOLD, 0.1, 1e3)
                    for way in [True, False]
                ],
                "residuals_db": list(20 * np.log10(h / model(p))),
            }
        )
    json.dump(results, sys.stdout)


if __name__ == "__main__":
    main()
