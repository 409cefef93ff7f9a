#!/usr/bin/env python3
"""Places on a local plane as pyproj computes them.

Writes pyproj_places.csv beside this script, the table that
tests/tests/outside/places.rs compares with: azimuthal equidistant projection on
WGS84, which keeps distance and bearing from the origin.

    pyproj_places.py           write the table
    pyproj_places.py --check   compute it anew, compare with the committed one
"""

import pyproj

from reference_table import ReferenceTable, within

HEADER = """\
# Places (degrees) on a plane about an origin (degrees), east and north in metres,
# by the Python package pyproj (https://pyproj4.github.io/pyproj) through the script
# pyproj_places.py beside this file.
"""
COLUMNS = ["origin_latitude", "origin_longitude", "latitude", "longitude", "east_m", "north_m"]

ORIGINS = [(46.57, 9.83), (61.2, -149.7), (-44.6, 168.9), (0.0, 37.3), (69.6, 179.9995)]
# Within a practice field, and within a kilometre of it.
OFFSETS = [(0.0, 0.0), (1e-4, -2e-4), (-5e-4, 5e-4), (0.004, 0.006), (-0.008, 0.01)]


def rows():
    for latitude, longitude in ORIGINS:
        plane = pyproj.Proj(proj="aeqd", ellps="WGS84", lat_0=latitude, lon_0=longitude)
        for north, east in OFFSETS:
            place = (latitude + north, (longitude + east + 180.0) % 360.0 - 180.0)
            x, y = plane(place[1], place[0])
            yield [repr(float(v)) for v in (latitude, longitude, *place, x, y)]


if __name__ == "__main__":
    judge = within(1e-9, absolute=1e-6)
    table = ReferenceTable(__file__, HEADER, COLUMNS, rows(), keys=4, disagreement=judge)
    table.main(__doc__, f"pyproj {pyproj.__version__}")
