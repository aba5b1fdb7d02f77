"""What the golden logs made by hand have in common: stations, times, and an evening.

All calls are invented: their suffix begins with Q. Home is FN84ab in Nova Scotia unless a log says otherwise.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from golden_logs import HALIFAX, GoldenLog, config, rendered, seconds, text

from sentinel.rehearsal.heard import Heard, Home
from sentinel.rehearsal.logs import PLAIN

START_S = seconds("2026-06-14T20:00:00")
MINUTE = 60.0
SLOT_S = 15.0

Station = tuple[str, str]


def stations(listed: str) -> list[Station]:
    """``"W4QAA EM83, K4QAB EM84"`` as calls with their squares."""
    return [(call, square) for call, square in (each.split() for each in listed.split(","))]


LOCAL: Station = ("VE1QBC", "FN84")
OTHER_LOCAL: Station = ("VE1QAB", "FN74")
# 1,300 to 2,300 km to the south-west: one hop of sporadic E.
SOUTH_WEST = stations("W4QAA EM83, K4QAB EM84, N4QAC EM94, W4QAD FM05, K4QAE EM95, N4QAF EM93")
BEYOND_4000_KM: Station = ("DL5QAB", "JN58")
ALL_AROUND = stations("W8QAG EM79, VO1QAH GN37, K5QAI EM55, VE3QAJ EN58, VP9QAK FM72")


def at(minutes: float) -> float:
    return START_S + MINUTE * minutes


def says(
    message: str,
    from_s: float,
    until_s: float,
    every_s: float = 2 * SLOT_S,
    *,
    snr_db: int = -5,
    dt_s: float = 0.1,
    audio_hz: int = 1200,
    mode: str = "FT8",
) -> list[Heard]:
    """One message again and again from ``from_s`` until before ``until_s``."""
    count = max(0, -int(-(until_s - from_s) // every_s))
    times = (from_s + number * every_s for number in range(count))
    return [Heard(t, message, snr_db, dt_s, audio_hz, mode=mode) for t in times]  # type: ignore[arg-type]


def calls(station: Station, from_min: float, to_min: float, **how: float) -> list[Heard]:
    """A station calls CQ between two minutes of the log."""
    return says(f"CQ {station[0]} {station[1]}", at(from_min), at(to_min), **how)  # type: ignore[arg-type]


def each_calls(callers: Sequence[Station], from_min: float, to_min: float) -> list[Heard]:
    """Several stations call at the same times."""
    return in_order(*(calls(station, from_min, to_min) for station in callers))


def opening(from_min: float = 15, to_min: float = 25, callers: Sequence[Station] = SOUTH_WEST) -> list[Heard]:
    """Stations come in from slot to slot, at frequencies of their own."""
    return in_order(
        *(
            calls(station, from_min + number / 4, to_min, audio_hz=600 + 250 * number, snr_db=number - 9)
            for number, station in enumerate(callers)
        )
    )


def evening() -> list[Heard]:
    """A local station for 70 minutes, a ping in the 5th, an opening from the 15th to the 25th."""
    return in_order(calls(LOCAL, 0, 70), calls(SOUTH_WEST[0], 5, 6), opening())


def in_order(*parts: Iterable[Heard]) -> list[Heard]:
    return sorted((line for part in parts for line in part), key=lambda line: (line.at_s, line.message))


def moved(heard: Iterable[Heard], by_s: float) -> list[Heard]:
    return [replace(line, at_s=line.at_s + by_s) for line in heard]  # type: ignore[arg-type]


def decoded(
    name: str,
    must: str,
    about: str,
    heard: Sequence[Heard],
    *,
    layout: str = PLAIN,
    extra: str = "",
    home: Home = HALIFAX,
    until_s: float | None = None,
) -> GoldenLog:
    """A log of these decodes in their order."""
    log = text(rendered(heard, layout))
    return GoldenLog(name, must, about, log, config(layout, home, extra), until_s)


def written(name: str, must: str, about: str, lines: Iterable[str] | bytes, layout: str = PLAIN) -> GoldenLog:
    """A log of these lines or bytes."""
    log = lines if isinstance(lines, bytes) else text(lines)
    return GoldenLog(name, must, about, log, config(layout))
