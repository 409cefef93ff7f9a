#!/usr/bin/env python3
"""Laws of coupling over angle as scipy fits them.

Writes scipy_angle.csv beside this script, the table that
tests/tests/outside/angle.rs compares with. Needs scipy 1.11 or later.

    scipy_angle.py           write the table
    scipy_angle.py --check   compute it anew, compare with the committed one

H = S sqrt((cos(a - a0) + b)^2 + q^2) at twelve angles 30 degrees apart, fitted by
scipy.optimize.curve_fit from starts all round, weighted by the stated uncertainty.
q is 0 for one axis (cosine) and 1/sqrt(3) for a dipole's magnitude; it is set free
where that lowers chi squared, over the reduced chi squared where that is over 1, by
more than 6.635. Covariances are multiplied by the reduced chi squared where that is
over 1.
"""

import random
import warnings

import numpy as np
import scipy
from scipy.optimize import OptimizeWarning, curve_fit

from reference_table import ReferenceTable

ROWS = 40
ANGLES = np.arange(0.0, 360.0, 30.0)
FILL = {"cosine": 0.0, "dipole": 3**-0.5}

HEADER = """\
# Coupling over angle, computed by scipy.optimize.curve_fit through the script
# scipy_angle.py beside this file. Law, standard uncertainty and the field at 0, 30,
# ... 330 degrees, all in uA/m; then scale (uA/m), angle of the greatest coupling
# (degrees), leak in phase and fill, each with its standard uncertainty (0 for a fill
# that is not fitted), and chi squared.
"""
COLUMNS = ["law", "u", *(f"h_{a:.0f}" for a in ANGLES)]
COLUMNS += ["scale", "u_scale", "theta_deg", "u_theta_deg", "leak", "u_leak", "fill", "u_fill"]
COLUMNS += ["chi_squared"]


def six_digits(value):
    return float(f"{value:.6g}")


def coupling(angle_deg, scale, theta, leak, fill):
    return scale * np.hypot(np.cos(np.radians(angle_deg) - theta) + leak, fill)


def readings():
    rng = random.Random(457)
    for number in range(ROWS):
        law = ["cosine", "dipole"][number % 2]
        # Half of them as the law is, half with another fill.
        fill = FILL[law] + (rng.uniform(0.1, 0.3) if number % 4 > 1 else 0.0)
        scale, u = 10 ** rng.uniform(-1, 2), rng.uniform(0.003, 0.03)
        theta, leak = np.radians(rng.uniform(-80, 80)), rng.uniform(-0.2, 0.2)
        exact = coupling(ANGLES, scale, theta, leak, fill)
        fields = [abs(h + u * scale * rng.gauss(0, 1)) for h in exact]
        yield law, six_digits(u * scale), [six_digits(h) for h in fields]


def best(model, fields, u, starts):
    """Parameters, covariance and chi squared of the lowest of several minima."""
    fits = []
    for start in starts:
        try:
            # Errors of a start that leads nowhere are of no account.
            p, covariance = curve_fit(
                model, ANGLES, fields, start, np.full(len(ANGLES), u),
                absolute_sigma=True, xtol=1e-14, ftol=1e-14, gtol=1e-14, maxfev=5000,
            )
        except RuntimeError:
            continue
        fits.append((np.sum(((fields - model(ANGLES, *p)) / u) ** 2), p, covariance))
    chi_squared, p, covariance = min(fits, key=lambda fit: fit[0])
    return p, covariance, chi_squared


def excess(chi_squared, parameters):
    return max(1.0, chi_squared / (len(ANGLES) - parameters))


def fitted(law, u, fields):
    fields = np.array(fields)
    scale = fields.max() / np.hypot(1, FILL[law])
    starts = [(scale, t, b) for t in np.radians(range(0, 360, 15)) for b in (-0.2, 0.0, 0.2)]
    law_only = lambda a, s, t, b: coupling(a, s, t, b, FILL[law])
    p, covariance, chi_squared = best(law_only, fields, u, starts)
    free = best(coupling, fields, u, [(*p, q) for q in (0.05, 0.2, 0.6, 1.0)])
    if (chi_squared - free[2]) / excess(free[2], 4) > 6.635:
        p, covariance, chi_squared = free
    deviations = np.sqrt(np.diag(covariance) * excess(chi_squared, len(p)))
    # Angles over -90 to 90 degrees; half a turn changes the sign of the leak.
    halves = round(p[1] / np.pi)
    p[1] -= halves * np.pi
    p[2] *= (-1) ** halves
    fill = (abs(p[3]), deviations[3]) if len(p) == 4 else (FILL[law], 0.0)
    theta = np.degrees([p[1], deviations[1]])
    return [p[0], deviations[0], *theta, p[2], deviations[2], *fill, chi_squared]


def rows():
    for law, u, fields in readings():
        numbers = fitted(law, u, fields)
        yield [law, repr(u), *(repr(h) for h in fields), *(f"{v:.8e}" for v in numbers)]


def disagreement(old, new):
    """Numbers to a hundredth of their uncertainty."""
    for i in range(0, 8, 2):
        if abs(old[i] - new[i]) > 0.01 * max(old[i + 1], 1e-9):
            return f"{COLUMNS[14 + i]} was {old[i]}, is {new[i]}"
    return None if abs(old[8] - new[8]) < 1e-3 else f"chi squared was {old[8]}, is {new[8]}"


if __name__ == "__main__":
    # Some starts end where there is no minimum; others do not.
    warnings.simplefilter("ignore", OptimizeWarning)
    table = ReferenceTable(__file__, HEADER, COLUMNS, rows(), keys=14, disagreement=disagreement)
    table.main(__doc__, f"scipy {scipy.__version__}")
