#!/usr/bin/env python3
"""Student's t, normal and chi-squared as scipy computes them.

Writes scipy_distributions.csv beside this script, the table that
tests/tests/outside/distributions.rs compares with.

    scipy_distributions.py           write the table
    scipy_distributions.py --check   compute it anew, compare with the committed one
"""

import argparse
import csv
import math
import sys
from pathlib import Path

import scipy
from scipy import stats

TABLE = Path(__file__).with_suffix(".csv")
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


def write():
    with TABLE.open("w", newline="") as out:
        out.write(HEADER)
        table = csv.writer(out, lineterminator="\n")
        table.writerow(COLUMNS)
        table.writerows(as_text(row) for row in rows())


def check():
    with TABLE.open(newline="") as committed:
        table = list(csv.reader(line for line in committed if not line.startswith("#")))
    anew = [COLUMNS, *(as_text(row) for row in rows())]
    if len(table) != len(anew) or table[0] != anew[0]:
        return [f"{TABLE.name}: other rows or columns than the script makes"]
    wrong = []
    for number, (old, new) in enumerate(zip(table[1:], anew[1:]), start=1):
        if old[:4] != new[:4]:
            wrong.append(f"row {number}: another argument")
        elif not math.isclose(float(old[4]), float(new[4]), rel_tol=RELATIVE_TOLERANCE, abs_tol=1e-15):
            wrong.append(f"row {number}: committed {old[4]}, new {new[4]}")
    return wrong


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--check", action="store_true", help="compare, do not write")
    if not arguments.parse_args().check:
        write()
        return
    wrong = check()
    if wrong:
        sys.exit("\n".join(wrong))
    print(f"{TABLE.name}: {len(list(rows()))} rows agree, scipy {scipy.__version__}")


if __name__ == "__main__":
    main()
