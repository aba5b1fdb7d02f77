"""Locators: the trade's way to write a place, finer by a pair of characters at a time.

Longitude first, counted from 180 W and 90 S (WGS 84): fields 20 by 10 degrees (A-R), squares 2 by 1
(0-9), subsquares 5' by 2.5' (a-x), then digits and letters again. (IARU, Lillehammer 1999.)
"""

import math
import re
from functools import lru_cache
from typing import NamedTuple

# Not re.IGNORECASE: it would let the Kelvin sign through as a K.
_SHAPE = re.compile(r"[A-Ra-r]{2}[0-9]{2}(?:[A-Xa-x]{2}(?:[0-9]{2}(?:[A-Xa-x]{2})?)?)?")
_LONGEST = 10
# Cells that each pair of characters cuts its parent into, along each axis.
_CUTS = (18, 10, 24, 10, 24)
_MEAN_RADIUS_KM = 6371.009  # as in ITU-R P.533
# A point this close to a boundary, in the smallest cells, is on it: most multiples of 2.5 minutes have
# no exact float.
_ON_BOUNDARY_CELLS = 1e-7


class LatLon(NamedTuple):
    """A place: degrees, north and east positive."""

    lat_deg: float
    lon_deg: float


def is_locator(text: str) -> bool:
    """True for 4, 6, 8 or 10 characters that form a locator, in upper or lower case, nothing around them."""
    return _SHAPE.fullmatch(text) is not None


def normalize(text: str) -> str:
    """The locator as it is usually written (FN84ab12cd); blanks around it are dropped.

    Raises ValueError, in one sentence, when ``text`` is no locator.
    """
    stripped = text[: 4 * _LONGEST].strip()
    if len(text) > 4 * _LONGEST or not is_locator(stripped):
        raise ValueError(
            f"{text[:20]!a} is not a locator: write 4, 6, 8 or 10 characters such as FN84 or FN84ab "
            "(two letters A-R, two digits, two letters A-X, two digits, two letters A-X)"
        )
    return stripped[:4].upper() + stripped[4:].lower()


def cell_size_deg(locator: str) -> LatLon:
    """Height and width of the locator's cell in degrees. Raises ValueError for what is no locator."""
    height_deg = 180.0 / math.prod(_CUTS[: len(normalize(locator)) // 2])
    return LatLon(height_deg, 2 * height_deg)


@lru_cache(maxsize=4096)
def center_of(locator: str) -> LatLon:
    """The centre of the locator's cell. Raises ValueError for what is no locator."""
    locator = normalize(locator)
    lon_cell = lat_cell = 0
    for cuts, lon_char, lat_char in zip(_CUTS, locator[::2], locator[1::2], strict=False):
        lon_cell = lon_cell * cuts + _rank(lon_char)
        lat_cell = lat_cell * cuts + _rank(lat_char)
    cells = math.prod(_CUTS[: len(locator) // 2])
    return LatLon((lat_cell + 0.5) * 180 / cells - 90, (lon_cell + 0.5) * 360 / cells - 180)


def _rank(character: str) -> int:
    return int(character) if character.isdigit() else ord(character.upper()) - ord("A")


@lru_cache(maxsize=4096)
def half_diagonal_km(locator: str) -> float:
    """How far the station may be from the cell's centre: to the farthest corner, the one nearer the equator.

    On a sphere (haversine), within 0.6 % of the ellipsoid. Raises ValueError for what is no locator.
    """
    center = center_of(locator)
    height_deg, width_deg = cell_size_deg(locator)
    lat = math.radians(abs(center.lat_deg))
    half_height, half_width = math.radians(height_deg / 2), math.radians(width_deg / 2)
    haversine = (
        math.sin(half_height / 2) ** 2
        + math.cos(lat) * math.cos(lat - half_height) * math.sin(half_width / 2) ** 2
    )
    return 2 * _MEAN_RADIUS_KM * math.asin(math.sqrt(haversine))


def locator_of(lat_deg: float, lon_deg: float, characters: int = 6) -> str:
    """The locator of a place; a boundary belongs to the cell north and east of it (W2IOL, Usenet 1984).

    The north pole belongs to the northernmost row, 180 E is 180 W. Raises ValueError for a latitude
    beyond 90, a longitude beyond 180 (neither is a place), or a number of characters other than 4, 6, 8, 10.
    """
    if not (-90 <= lat_deg <= 90 and -180 <= lon_deg <= 180):
        raise ValueError(
            f"{lat_deg}, {lon_deg} is not a place: latitude runs from -90 to 90, longitude from -180 to 180"
        )
    if characters not in (4, 6, 8, 10):
        raise ValueError(f"a locator has 4, 6, 8 or 10 characters, not {characters}")
    cells = math.prod(_CUTS)
    lat_cell = min(math.floor((lat_deg + 90) * cells / 180 + _ON_BOUNDARY_CELLS), cells - 1)
    lon_cell = math.floor((lon_deg + 180) * cells / 360 + _ON_BOUNDARY_CELLS) % cells
    pairs = []
    for cuts in reversed(_CUTS):
        lat_cell, lat_rank = divmod(lat_cell, cuts)
        lon_cell, lon_rank = divmod(lon_cell, cuts)
        pairs.append(f"{lon_rank}{lat_rank}" if cuts == 10 else chr(65 + lon_rank) + chr(65 + lat_rank))
    return normalize("".join(reversed(pairs))[:characters])


def square_of(locator: str) -> str:
    """The first four characters, upper case. Raises ValueError for what is no locator."""
    return normalize(locator)[:4]


@lru_cache(maxsize=4096)
def neighbour_squares(square: str) -> tuple[str, ...]:
    """The eight squares around one, sorted: across field edges and 180 degrees; five beside a pole.

    Only the first four characters count. Raises ValueError for what is no locator.
    """
    square = square_of(square)
    lon_cell = (ord(square[0]) - 65) * 10 + int(square[2])
    lat_cell = (ord(square[1]) - 65) * 10 + int(square[3])
    around = set()
    for lat in (lat_cell - 1, lat_cell, lat_cell + 1):
        for lon in (lon_cell - 1, lon_cell, lon_cell + 1):
            if 0 <= lat < 180 and (lat, lon) != (lat_cell, lon_cell):
                (lon_field, lon_digit), (lat_field, lat_digit) = divmod(lon % 180, 10), divmod(lat, 10)
                around.add(f"{chr(65 + lon_field)}{chr(65 + lat_field)}{lon_digit}{lat_digit}")
    return tuple(sorted(around))
