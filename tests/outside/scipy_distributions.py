#!/usr/bin/env python3
"""Student's t, normal and chi-squared as scipy computes them.

Writes scipy_distributions.csv beside this script, the table that
tests/tests/outside/distributions.rs compares with.

    scipy_distributions.py           write the table
    scipy_distributions.py --check   compute it anew, compare with the committed one
"""

import math

import scipy
from scipy import stats

from reference_table import ReferenceTable, within

RELATIVE_TOLERANCE = 1e-11

HEADER = """\
# Student's t, normal and chi-squared, computed by the Python package scipy
# (https://scipy.org) through the script scipy_distributions.py beside this file.
# cdf: probability to stay below x; quantile: the x that is not exceeded with
# that probability. degrees_of_freedom: inf for normal.
"""
COLUMNS = ["distribution", "function", "degrees_of_freedom", "argument", "result"]

FREEDOMS = [1, 1.5, 2, 3, 4, 5.7, 8, 10, 16, 16.7, 25, 50, 120, 1000, 1e5]
PROBABILITIES = [1e-4, 0.005, 0.025, 0.05, 0.2, 0.5, 0.7, 0.95, 0.975, 0.995, 0.9999]
T_VALUES = [-40.0, -6.0, -2.92, -1.0, -0.01, 0.0, 0.5, 1.96, 4.0, 15.0]
# As shares of the degrees of freedom, the mean of chi-squared.
CHI_SHARES = [0.05, 0.3, 0.8, 1.0, 1.3, 2.5, 6.0]


def rows():
    for freedom in [*FREEDOMS, math.inf]:
        name = "normal" if math.isinf(freedom) else "student"
        t = stats.norm if math.isinf(freedom) else stats.t(freedom)
        for x in T_VALUES:
            yield [name, "cdf", freedom, x, t.cdf(x)]
        for p in PROBABILITIES:
            yield [name, "quantile", freedom, p, t.ppf(p)]
    for freedom in FREEDOMS:
        chi = stats.chi2(freedom)
        for share in CHI_SHARES:
            yield ["chi-squared", "cdf", freedom, share * freedom, chi.cdf(share * freedom)]
        for p in PROBABILITIES:
            yield ["chi-squared", "quantile", freedom, p, chi.ppf(p)]


def as_text(row):
    return [*row[:2], *(repr(float(v)) for v in row[2:])]


if __name__ == "__main__":
    as_committed = (as_text(row) for row in rows())
    judge = within(RELATIVE_TOLERANCE, absolute=1e-15)
    table = ReferenceTable(__file__, HEADER, COLUMNS, as_committed, keys=4, disagreement=judge)
    table.main(__doc__, f"scipy {scipy.__version__}")
