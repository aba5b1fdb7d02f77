"""Logs made by hand: who was heard when, as lines of a layout that is no decoder's own.

Home is FN84ab in Nova Scotia. All calls are invented; each lies in the land of its prefix.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

LAYOUT = "{utc:%Y-%m-%dT%H:%M:%SZ} {snr_db} {dt_s} {audio_hz} {message}"
HOME = "FN84ab"
OWN_CALL = "VE1QZZ"
SLOT_S = 15.0  # FT8

CONFIG = f"""\
[station]
locator = "{HOME}"
callsign = "{OWN_CALL}"
[[source]]
path = "decodes.log"
layout = "{LAYOUT}"
"""

LOCAL = ("VE1QBC", "FN84ep")
# 1,300 to 2,300 km to the south-west: one hop of sporadic E.
SOUTH_WEST = (
    ("W4QAA", "EM83"), ("K4QAB", "EM84"), ("N4QAC", "EM94"),
    ("W4QAD", "FM05"), ("K4QAE", "EM95"), ("N4QAF", "EM93"),
)  # fmt: skip
BEYOND_4000_KM = ("DL5QAB", "JN58")
# One station in each direction, each within one hop.
SCATTERED = (("W8QAG", "EM79"), ("VO1QAH", "GN37"), ("K5QAI", "EM55"), ("VE3QAJ", "EN58"), ("VP9QAK", "FM72"))


def seconds(iso: str) -> float:
    """Seconds since 1970 of a time in UTC."""
    return datetime.fromisoformat(iso).replace(tzinfo=UTC).timestamp()


def clock(at_s: float) -> str:
    """The time as records write it; the fraction is cut off."""
    return datetime.fromtimestamp(math.floor(at_s), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@dataclass(frozen=True, order=True)
class Heard:
    """One decode."""

    at_s: float
    message: str
    snr_db: int = -5
    dt_s: float = 0.1
    audio_hz: int = 1200

    def line(self) -> str:
        return f"{clock(self.at_s)} {self.snr_db} {self.dt_s} {self.audio_hz} {self.message}"


def calling(station: tuple[str, str], start_s: float, end_s: float, every_s: float = 30.0) -> Iterator[Heard]:
    """``station``, a call and its locator, calls CQ from ``start_s`` until before ``end_s``."""
    call, locator = station
    count = max(0, math.ceil((end_s - start_s) / every_s))
    for number in range(count):
        yield Heard(start_s + number * every_s, f"CQ {call} {locator[:4]}")


def lines(heard: Iterable[Heard]) -> list[str]:
    """The lines in the order of their times."""
    return [one.line() for one in sorted(heard)]


def evening(start_s: float) -> list[Heard]:
    """A local station for 70 minutes, a ping in the 5th, an opening from the 15th to the 25th."""
    minute = 60.0
    heard = list(calling(LOCAL, start_s, start_s + 70 * minute))
    heard += calling(SOUTH_WEST[0], start_s + 5 * minute, start_s + 6 * minute)
    for number, station in enumerate(SOUTH_WEST):
        begins_s = start_s + 15 * minute + number * SLOT_S
        heard += calling(station, begins_s, start_s + 25 * minute)
    return heard
