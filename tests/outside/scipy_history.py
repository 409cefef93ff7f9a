#!/usr/bin/env python3
"""Trends of invented visits as numpy and scipy compute them.

Writes scipy_history.csv beside this script, the table that
tests/tests/outside/history.rs compares with.

    scipy_history.py           write the table
    scipy_history.py --check   compute it anew, compare with the committed one
"""

import math

import numpy as np
import scipy
from scipy import optimize, stats

from reference_table import ReferenceTable, within

RELATIVE_TOLERANCE = 1e-6

HEADER = """\
# Straight lines with steps through invented visits, computed by the Python packages numpy
# and scipy (https://scipy.org) through the script scipy_history.py beside this file.
# Weights 1/(u^2 + tau^2), tau^2 such that chi-squared is its degrees of freedom; rate per
# day; chance of the rate by Student's t; first and last day on which the interval of the
# line (95 %) holds the limit; place and size of the step that explains most.
"""
COLUMNS = ["case", "quantity", "result"]

# visits, rate per day, u, scatter, step and its place (0: none), per degree, limit
CASES = {
    "stated": (14, 0.004, 0.5, 0.0, 0.0, 0, 0.0, 12.0),
    "scatter": (14, 0.004, 0.05, 0.8, 0.0, 0, 0.0, 12.0),
    "step": (20, 0.004, 0.1, 0.4, 6.0, 12, 0.0, 24.0),
    "warm": (18, 0.003, 0.1, 0.5, 0.0, 0, 0.6, 12.0),
}


def visits(case):
    """Times (days), values, uncertainties and temperatures; errors by a fixed pattern,
    so that the test makes the same."""
    count, rate, u, scatter, step, place, per_degree, _ = CASES[case]
    i = np.arange(count)
    times = 60.0 * i + 15.0 * np.sin(3.0 * i)
    warm = 10.0 * np.sin(5.0 * i + 1.0)
    us = u * (1.0 + 0.5 * np.cos(2.0 * i))
    errors = 1.3 * us * np.sin(7.0 * i * i + 0.5) + 1.3 * scatter * np.sin(11.0 * i * i + 2.0)
    steps = step * (i >= place) if place else np.zeros(count)
    return times, 5.0 + rate * times + steps + per_degree * warm + errors, us, warm


def fit(columns, values, variances):
    weighted = columns / np.sqrt(variances)[:, None]
    q, r = np.linalg.qr(weighted)
    y = values / np.sqrt(variances)
    solution = np.linalg.solve(r, q.T @ y)
    inverse = np.linalg.inv(r)
    residuals = y - weighted @ solution
    return solution, inverse @ inverse.T, residuals @ residuals


def rows_of(case):
    count, *_, step, place, per_degree, limit = CASES[case]
    times, values, us, warm = visits(case)
    columns = [np.ones(count), times]
    if per_degree:
        columns.append(warm - warm.mean())

    def with_step(k):
        return np.column_stack([*columns, (np.arange(count) >= k).astype(float)])

    if place:
        best = min(range(2, count - 1), key=lambda k: fit(with_step(k), values, us**2)[2])
        yield "first visit after the step", best
        design = with_step(best)
    else:
        design = np.column_stack(columns)
    freedom = count - design.shape[1]

    def excess(variance):
        return fit(design, values, us**2 + variance)[2] - freedom

    variance = optimize.brentq(excess, 0.0, 1e4, xtol=1e-14, rtol=1e-14) if excess(0.0) > 0 else 0.0
    solution, covariance, _ = fit(design, values, us**2 + variance)
    u = np.sqrt(np.diag(covariance))
    t = stats.t(freedom) if variance > 0.0 else stats.norm
    yield "rate", solution[1]
    yield "u of rate", u[1]
    yield "scatter", math.sqrt(variance)
    yield "chance", 2.0 * t.sf(abs(solution[1]) / u[1])
    if place:
        yield "step", solution[-1]
        yield "u of step", u[-1]
    if per_degree:
        yield "per degree", solution[2]
        yield "u per degree", u[2]

    def room(day):
        row = np.zeros(design.shape[1])
        row[:2] = 1.0, day
        if place:
            row[-1] = 1.0
        half = t.ppf(0.975) * math.sqrt(row @ covariance @ row)
        return abs(row @ solution - limit) - half

    now = times[-1]
    crossing = (limit - solution[0] - (solution[-1] if place else 0.0)) / solution[1]
    yield "earliest", optimize.brentq(room, now, crossing, xtol=1e-10)
    yield "expected", crossing
    yield "latest", optimize.brentq(room, crossing, 40.0 * crossing, xtol=1e-10)


def rows():
    for case in CASES:
        for quantity, result in rows_of(case):
            yield [case, quantity, repr(float(result))]


if __name__ == "__main__":
    judge = within(RELATIVE_TOLERANCE)
    table = ReferenceTable(__file__, HEADER, COLUMNS, rows(), keys=2, disagreement=judge)
    table.main(__doc__, f"numpy {np.__version__}, scipy {scipy.__version__}")
