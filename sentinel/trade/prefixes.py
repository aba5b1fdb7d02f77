"""Which area a call sign belongs to: the administration of its series, refined where the trade can.

Three tables beside this file:

- ``itu_series.csv``: the ITU call sign series (Radio Regulations, Appendix 42), made by
  ``tests/tools/make_itu_series.py``;
- ``areas.csv``: kept by hand, common practice of the trade, no source: call areas of large countries,
  islands and other parts that have prefixes of their own, and who holds which series. A row's prefixes
  override the series; its ``land`` and ``people`` say what the third table is computed from;
- ``area_centres.csv``: where the people of each area live, made by ``tests/tools/make_area_places.py``.

Codes are ISO 3166-1 where there is one (ES), ISO 3166-2 for parts (ES-CN), else our own (RU-AS, SMOM).
Call areas within a country (W1, VE7) share its code.
"""

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import product
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

ANYWHERE_KM = 20_015.0  # half way round the Earth: the uncertainty of a call that says nothing of its place
_DATA = Path(__file__).with_name("data")
_ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
_LETTERS = _ALPHABET[:26]
# Radio Regulations 19.68: these letters, followed by a digit, are whole prefixes of amateur stations.
_ONE_LETTER_NATIONALS = "BFGIKMNRW"
_PLACE = re.compile(r"[A-Za-z0-9]{1,20}")
_LONGEST_PREFIX = 6
_PATTERN_PIECE = re.compile(r"\[([^]]+)\]|(.)")
# Suffixes QAA to QZZ are not issued, as they are Q codes. Where the suffix's first letter tells the province,
# an invented call's tells nothing.
_NEVER_ISSUED = re.compile(r".*[0-9]Q[A-Z]{2}")
_AREA_DIGIT = str.maketrans("0123456789", "##########")


@dataclass(frozen=True, slots=True)
class Area:
    """Where a prefix says that a station is.

    ``name`` is plain English, ``code`` the stable key of the country or of the part that the trade
    counts apart; call areas of one country share it. The centre is the town nearest to the mean of the
    population, and about 95 % of the people live within ``radius_km`` of it (computed from the towns of
    GeoNames, geonames.org, CC BY 4.0; amateurs are taken to live where people do). In the United States
    and wherever else operators keep their calls when they move, the call area's digit is a hint only.
    ``radius_km`` is ``ANYWHERE_KM`` where the prefix says nothing of the place (a ship's, the United
    Nations'). ``is_allocated`` is False for prefixes that are heard but that the ITU has allotted to nobody.
    """

    name: str
    code: str
    lat_deg: float
    lon_deg: float
    radius_km: float
    is_allocated: bool = True

    @property
    def is_anywhere(self) -> bool:
        """True when the prefix says nothing of the place: use neither the centre nor a bearing to it."""
        return self.radius_km >= ANYWHERE_KM


def area_of(place: str) -> Area | None:
    """The area of a call, or of the part of a compound call that tells where (``Call.place``).

    The longest prefix that the tables know decides. None when the series is allotted to nobody and not
    heard either, and for text that is no call; never raises.
    """
    if _PLACE.fullmatch(place) is None:  # before the cache, so that no huge text is kept there
        return None
    return _area_of(place.upper())


def is_allocated(place: str) -> bool:
    """True when the ITU has allotted the series of this call (or prefix) to an administration."""
    area = area_of(place)
    return area is not None and area.is_allocated


def all_areas() -> tuple[Area, ...]:
    """Every area that the tables know, in the order of ``areas.csv``."""
    return _tables().areas


def rows_of(table: str) -> Iterator[dict[str, str]]:
    """The rows of one of the CSV tables beside this file."""
    return csv.DictReader((_DATA / table).read_text("utf-8").splitlines())


def expand(pattern: str) -> list[str]:
    """The prefixes that one pattern of ``areas.csv`` stands for: ``U[A-C]1`` is UA1, UB1 and UC1.

    ``#``, any area digit, ``?``, any letter, and a full stop, the end of the call, stay as they are.
    """
    return ["".join(letters) for letters in product(*map(_choices, _PATTERN_PIECE.finditer(pattern)))]


def _choices(piece: re.Match[str]) -> str:
    if piece[2]:
        return piece[2]
    return re.sub(
        "(.)-(.)", lambda span: _ALPHABET[_ALPHABET.index(span[1]) : _ALPHABET.index(span[2]) + 1], piece[1]
    )


@lru_cache(maxsize=8192)
def _area_of(place: str) -> Area | None:
    area = _longest_match(place)
    if area is not None and _NEVER_ISSUED.fullmatch(place):
        whole_country = _longest_match(place[:-3])
        if whole_country is not None and whole_country.code == area.code:
            return whole_country
    return area


def _longest_match(place: str) -> Area | None:
    table = _tables().area_by_prefix
    # A few areas are told by the whole call: KG4 and two letters is Guantanamo Bay, other KG4 are not.
    head = place.rstrip(_LETTERS)
    for whole_call in (place + ".", head + "?" * (len(place) - len(head)) + "."):
        if whole_call in table:
            return table[whole_call]
    any_digit = place[0] + place[1:].translate(_AREA_DIGIT)
    for length in range(min(len(place), _LONGEST_PREFIX), 0, -1):
        area = table.get(place[:length]) or table.get(any_digit[:length])
        if area is not None:
            return area
    return None


class _Tables(NamedTuple):
    areas: tuple[Area, ...]
    area_by_prefix: Mapping[str, Area]


@cache
def _tables() -> _Tables:
    """Read once, at the first look-up: some 15 ms and 1 MB on a desk computer."""
    series = _series()
    centres = {(row["code"], row["part"]): row for row in rows_of("area_centres.csv")}
    areas, home_of, refined = [], {}, {}
    for row in rows_of("areas.csv"):
        prefixes = [prefix for pattern in row["prefixes"].split() for prefix in expand(pattern)]
        is_allocated = not prefixes or any(_begins_a_series(prefix, series) for prefix in prefixes)
        area = _area(row, centres[row["code"], row["part"]], is_allocated)
        areas.append(area)
        home_of[row["administration"]] = area
        refined.update(dict.fromkeys(prefixes, area))
    by_series = {prefix: home_of[administration] for prefix, administration in series.items()}
    return _Tables(tuple(areas), MappingProxyType(by_series | refined))


def _area(row: Mapping[str, str], centre: Mapping[str, str], is_allocated: bool) -> Area:
    lat_deg, lon_deg, radius_km = (float(centre[key]) for key in ("lat_deg", "lon_deg", "radius_km"))
    return Area(row["name"], row["code"], lat_deg, lon_deg, radius_km, is_allocated)


def _begins_a_series(prefix: str, series: Mapping[str, str]) -> bool:
    # 3D2 is Fiji's, though the series are written 3DA to 3DZ; the whole of 3D and SS is allotted
    return prefix[0] in series or prefix[:2] in series or prefix[:2] + "A" in series


def _series() -> dict[str, str]:
    """Prefix to administration: one letter for the nationals, two characters, or three (3D, SS)."""
    found = {}
    for row in rows_of("itu_series.csv"):
        stem, first, last = row["first"][:-1], row["first"][-1], row["last"][-1]
        for character in _ALPHABET[_ALPHABET.index(first) : _ALPHABET.index(last) + 1]:
            found[stem + character] = row["administration"]
    found.update({letter: found[letter + "A"] for letter in _ONE_LETTER_NATIONALS})
    return found
