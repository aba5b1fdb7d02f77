"""What the page asks the diary: the last day, the openings, and the hours of the months.

Functions of a read-only connection that return JSON objects; they raise ``sqlite3.Error``. What is asked
comes from an address line that anybody can type, so ``read_question`` lets only sound values through.
"""

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass

from sentinel.errors import ConfigError
from sentinel.outputs import pieces
from sentinel.outputs.diary_queries import OpeningFilter, openings
from sentinel.outputs.diary_rows import OpeningRow
from sentinel.outputs.diary_spans import DAY_S, Span
from sentinel.outputs.diary_statistics import hour_by_month, spans
from sentinel.outputs.direction import read_direction
from sentinel.outputs.hygiene import clean_text
from sentinel.outputs.values import JsonObject, iso_z
from sentinel.watch.bulletin import Mode

MOST_OPENINGS = 200
"""A list longer than that is for `sentinel diary`; the newest are shown and all are counted."""
MOST_SPANS = 600
"""A change of state every two and a half minutes for a whole day: more cannot be told apart on a strip."""
LONGEST_DAYS = 36_525
LONGEST_WORD = 20


@dataclass(frozen=True, slots=True)
class Question:
    """Which openings: of the last ``days`` (None: all there are), from a direction, by a mode."""

    days: int | None = 30
    direction: str | None = None
    mode: Mode | None = None
    min_stations: int = 0

    def filter(self, band: str, now_s: float) -> OpeningFilter:
        """The diary's own filter."""
        bearing_deg, width_deg = read_direction(self.direction) if self.direction else (None, 22.5)
        return OpeningFilter(
            since_s=None if self.days is None else now_s - self.days * DAY_S,
            until_s=now_s,
            bearing_deg=bearing_deg,
            width_deg=width_deg,
            mode=self.mode,
            band=band,
            min_stations=self.min_stations,
        )


def read_question(asked: Mapping[str, str]) -> Question:
    """From an address line: ``days``, ``from``, ``mode``, ``stations``; empty ones count as not given.

    Raises ConfigError with one sentence for a value that means nothing.
    """
    days = asked.get("days") or "30"
    direction = (asked.get("from") or "").strip() or None
    if direction is not None:
        read_direction(direction[:LONGEST_WORD])
    return Question(
        days=None if days == "all" else _number("days", days, 1, LONGEST_DAYS),
        direction=None if direction is None else direction[:LONGEST_WORD].upper(),
        mode=_mode(asked.get("mode", "")),
        min_stations=_number("stations", asked.get("stations") or "0", 0, 10_000),
    )


def last_day(connection: sqlite3.Connection, band: str, now_s: float) -> JsonObject:
    """The states and openings of the 24 hours before ``now_s``; what lies in no span was not recorded."""
    since_s = now_s - DAY_S
    lived = [span for span in spans(connection, band, since_s) if span.since_s < now_s]
    came = openings(connection, OpeningFilter(since_s=since_s, until_s=now_s, band=band))
    return {
        "band": band,
        "since": iso_z(since_s),
        "until": iso_z(now_s),
        "spans": [_span(span, since_s, now_s) for span in lived[-MOST_SPANS:]],
        "openings": [_opening(row) for row in came[-MOST_OPENINGS:]],
    }


def openings_answer(
    connection: sqlite3.Connection, band: str, now_s: float, question: Question
) -> JsonObject:
    """The openings that match, the newest first."""
    found = openings(connection, question.filter(band, now_s))
    return {
        "band": band,
        "total": len(found),
        "openings": [_opening(row) for row in reversed(found[-MOST_OPENINGS:])],
    }


def hours_of_months(connection: sqlite3.Connection, band: str) -> JsonObject:
    """For each month twelve rows of 24: hours watched, hours open, openings begun."""
    cells = hour_by_month(connection, band)
    return {
        "band": band,
        "watched_h": round(sum(cell.watched_s for cell in cells) / 3600),
        "openings": sum(cell.openings for cell in cells),
        "cells": [
            {
                "month": cell.month,
                "hour": cell.hour,
                "watched_h": round(cell.watched_s / 3600, 1),
                "open_share": None if cell.open_share is None else round(cell.open_share, 4),
                "openings": cell.openings,
            }
            for cell in cells
        ],
    }


def _span(span: Span, since_s: float, until_s: float) -> JsonObject:
    return {
        "since": iso_z(max(span.since_s, since_s)),
        "until": iso_z(min(span.until_s, until_s)),
        "state": span.state.value,
        "because": clean_text(span.because),
        "off": span.is_downtime,
    }


def _opening(row: OpeningRow) -> JsonObject:
    payload = pieces.opening_payload(row.opening)
    return payload.model_dump(mode="json", exclude={"reflections", "likelihoods"})


def _mode(text: str) -> Mode | None:
    try:
        return Mode(text) if text else None
    except ValueError:
        known = ", ".join(Mode)
        raise ConfigError(f"mode {text[:LONGEST_WORD]!a} is not known; there are {known}") from None


def _number(name: str, text: str, low: int, high: int) -> int:
    if text.isascii() and text.isdigit() and len(text) <= LONGEST_WORD and low <= int(text) <= high:
        return int(text)
    raise ConfigError(f"{name} {text[:LONGEST_WORD]!a} is no number from {low} to {high}")
