#!/usr/bin/env python3
"""Probability of detection as scipy computes it.

Writes scipy_detection.csv beside this script, the table that
tests/tests/outside/calibration.rs compares with.

    scipy_detection.py           write the table
    scipy_detection.py --check   compute it anew, compare with the committed one

The matched filters' statistic over n axes is half of a chi-squared variable of
2n degrees of freedom, noncentral by twice the energy-to-noise ratio.
"""

import scipy
from scipy import stats

from reference_table import ReferenceTable, within

RELATIVE_TOLERANCE = 1e-8

HEADER = """\
# Probability that a pulse of that energy-to-noise ratio passes the threshold,
# computed by the Python package scipy (https://scipy.org) through the script
# scipy_detection.py beside this file: the upper tail of a noncentral
# chi-squared variable.
"""
COLUMNS = ["axes", "energy", "threshold", "probability"]


def rows():
    for axes in (1, 3):
        for threshold in (5.0, 15.0, 21.64, 29.0):
            for energy in (0.5, 4.0, 12.0, 25.0, 37.0, 60.0, 120.0):
                tail = stats.ncx2.sf(2 * threshold, 2 * axes, 2 * energy)
                yield [str(axes), repr(energy), repr(threshold), f"{tail:.11e}"]


if __name__ == "__main__":
    judge = within(RELATIVE_TOLERANCE)
    table = ReferenceTable(__file__, HEADER, COLUMNS, rows(), keys=3, disagreement=judge)
    table.main(__doc__, f"scipy {scipy.__version__}")
