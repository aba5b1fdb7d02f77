"""Make ``sentinel/sky/magnetic_grid.bin`` and its golden table ``tests/data/magnetic_golden.csv``.

Run from the root of the checkout, once for an epoch, in a virtual environment of its own (apexpy builds with
a Fortran compiler)::

    python -m venv venv-grid && venv-grid/bin/pip install apexpy geographiclib ppigrf
    PYTHONPATH=. venv-grid/bin/python tests/tools/make_magnetic_grid.py

Quasi-dipole latitude comes from apexpy at 110 km, inclination from ppigrf at the ground, both of IGRF-14.
The golden rows are computed directly at random places, not read back from the grid.
"""

import csv
from datetime import datetime
from pathlib import Path

import numpy as np
from apexpy import Apex
from ppigrf import igrf

from sentinel.sky.magnetics import COLUMNS, ROWS, STEP_DEG

ROOT = Path(__file__).parents[2]
EPOCH = datetime(2026, 1, 1)
HEIGHT_KM = 110.0
# ppigrf divides by the cosine of the latitude
NEAREST_TO_POLE_DEG = 89.999
GOLDEN_ROWS = 1000


def quasi_dipole_deg(lat: np.ndarray, lon: np.ndarray) -> np.ndarray:
    return np.asarray(Apex(date=EPOCH.year).convert(lat, lon, "geo", "qd", height=HEIGHT_KM)[0], dtype=float)


def inclination_deg(lat: np.ndarray, lon: np.ndarray) -> np.ndarray:
    lat = np.clip(lat, -NEAREST_TO_POLE_DEG, NEAREST_TO_POLE_DEG)
    east, north, up = (component.ravel() for component in igrf(lon, lat, 0.0, EPOCH))
    return np.degrees(np.arctan2(-up, np.hypot(east, north)))


def dip_latitude_deg(lat: np.ndarray, lon: np.ndarray) -> np.ndarray:
    return np.degrees(np.arctan(np.tan(np.radians(inclination_deg(lat, lon))) / 2.0))


def write_grid(path: Path) -> None:
    lat, lon = np.meshgrid(
        -90.0 + STEP_DEG * np.arange(ROWS), -180.0 + STEP_DEG * np.arange(COLUMNS), indexing="ij"
    )
    layers = [function(lat.ravel(), lon.ravel()) for function in (quasi_dipole_deg, dip_latitude_deg)]
    path.write_bytes(np.round(100.0 * np.concatenate(layers)).astype("<i2").tobytes())


def write_golden(path: Path) -> None:
    draw = np.random.default_rng(EPOCH.year)
    lat = np.round(np.degrees(np.arcsin(draw.uniform(-1, 1, GOLDEN_ROWS))), 3)
    lon = np.round(draw.uniform(-180, 180, GOLDEN_ROWS), 3)
    columns = (lat, lon, quasi_dipole_deg(lat, lon), dip_latitude_deg(lat, lon))
    with path.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["lat_deg", "lon_deg", "quasi_dipole_deg", "dip_latitude_deg"])
        rows.writerows([f"{value:.3f}" for value in row] for row in zip(*columns, strict=True))


if __name__ == "__main__":
    write_grid(ROOT / "sentinel/sky/magnetic_grid.bin")
    write_golden(ROOT / "tests/data/magnetic_golden.csv")
