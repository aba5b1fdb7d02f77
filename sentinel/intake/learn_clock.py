"""Which columns say when: by what the texts can mean and how the times follow each other down the log."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from sentinel.intake.learn_times import TimeGuess, guesses, is_yearless
from sentinel.intake.time_codes import codes_in
from sentinel.intake.time_values import DAY_S, EPOCH_ORDINAL
from sentinel.intake.unclear import Unclear

# A decoder prints lines late by a slot or two (2 min at most), and may be silent for days.
LATE_S = 120.0
_LONGEST_GAP_S = 30 * DAY_S
# Random numbers that happen to be times follow each other forward in half of the steps.
_LEAST_FORWARD = 0.9
# Slots of every mode begin on multiples of 7.5 s (FT4); 15 s, 30 s, 1 and 2 min are multiples of it.
_SLOT_S = 7.5
# The digital modes that decoders log today are younger; a two-digit year before it is a day.
_FIRST_YEAR = 2010
_WIDEST_WINDOW = 6
# Dates of which one end is a year further from the log's last change than the other's are not equally good.
_A_YEAR = 366


@dataclass(frozen=True, slots=True)
class Window:
    """Columns ``first`` to ``last`` read together as ``{name:written}``."""

    first: int
    last: int
    name: str
    guess: TimeGuess

    @property
    def width(self) -> int:
        return self.last - self.first

    def overlaps(self, other: "Window") -> bool:
        return self.first <= other.last and other.first <= self.last


def choose(
    columns: Sequence[Sequence[str]],
    glue: Sequence[str],
    split: int,
    written_s: float | None,
    widest: int = _WIDEST_WINDOW,
) -> list[Window] | Unclear:
    """The windows of ``{utc}``, and of ``{date}`` where it stands apart; empty if no column is a time.

    ``glue[i]`` stands in front of column i; no window spans the message, which stands in front of column
    ``split``, or more than ``widest`` columns. ``written_s`` is when the log was last written (seconds since
    1970), if known.
    """
    windows = [window for window in _windows(columns, glue, split, widest) if _is_steady(window.guess)]
    whole = [window for window in windows if window.guess.has_date and window.guess.has_time]
    if whole:
        return _only("utc", whole, written_s)
    clocks = _only("utc", [window for window in windows if window.guess.has_time], written_s)
    if isinstance(clocks, Unclear) or not clocks:
        return clocks
    dates = [window for window in windows if not window.guess.has_time and not window.overlaps(clocks[0])]
    calendars = _only("date", dates, written_s)
    return calendars if isinstance(calendars, Unclear) else [*clocks, *calendars]


def _windows(
    columns: Sequence[Sequence[str]], glue: Sequence[str], split: int, widest: int
) -> Iterator[Window]:
    for first in range(len(columns)):
        end = split if first < split else len(columns)
        for last in range(first, min(end, first + widest)):
            if not any(any(mark.isdigit() for mark in columns[place][0]) for place in (first, last)):
                continue
            texts = _joined(columns[first : last + 1], glue[first + 1 : last + 1])
            for guess in guesses(texts):
                yield Window(first, last, "utc", guess)


def _joined(columns: Sequence[Sequence[str]], glue: Sequence[str]) -> list[str]:
    return [
        "".join(before + text for before, text in zip(("", *glue), texts, strict=True))
        for texts in zip(*columns, strict=True)
    ]


def _only(name: str, windows: list[Window], written_s: float | None) -> list[Window] | Unclear:
    """The one window to use, in a list; empty if none will do."""
    if not windows:
        return []
    best: list[Window] = []
    # the narrowest that do: only a column that says am or pm belongs to the time beside it
    by_width = sorted(windows, key=lambda window: ("%p" not in window.guess.written, window.width))
    for place in dict.fromkeys((window.first, window.last) for window in by_width):
        here = [window for window in windows if (window.first, window.last) == place]
        if any(window.overlaps(here[0]) and window.width != here[0].width for window in best):
            continue
        guess = choose_format([window.guess for window in here], written_s)
        if isinstance(guess, Unclear):
            return guess
        best.append(Window(*place, name, guess))
    return _first_of(sorted(best, key=lambda window: window.first))


def _first_of(windows: list[Window]) -> list[Window] | Unclear:
    chosen = windows[0]
    for rival in windows[1:]:
        if chosen.name == "date" or rival.guess.readings == chosen.guess.readings:
            continue
        merits = [(_slot_share(w.guess) >= _LEAST_FORWARD, w.guess.is_zoned) for w in (chosen, rival)]
        if merits[0] == merits[1] and _differ_by_a_zone(chosen.guess, rival.guess):
            return Unclear(
                f"columns {chosen.first + 1} and {rival.first + 1} are the same time in two time zones, "
                "and nothing says which is UTC"
            )
        if merits[1] > merits[0]:
            chosen = rival
    return [chosen]


def choose_format(rivals: Sequence[TimeGuess], written_s: float | None) -> TimeGuess | Unclear:
    """The reading that makes the most sense of a column, unless two make equal sense."""
    rivals = _distinct(rivals)
    sieves = (_plausible, _most_compact, _conventional, lambda some: _nearest_to(some, written_s))
    for sieve in sieves:
        rivals = sieve(rivals) or rivals
        if len(rivals) == 1:
            return rivals[0]
    texts = " or ".join(sorted(f"{_example(guess)} ({guess.written})" for guess in rivals))
    return Unclear(f"the dates can be read as {texts}, and nothing in the log says which")


def _example(guess: TimeGuess) -> str:
    day = next(reading.day for reading in guess.readings if reading is not None and reading.day is not None)
    return f"{date.fromordinal(day + EPOCH_ORDINAL):%d %B %Y}"


def _distinct(rivals: Sequence[TimeGuess]) -> list[TimeGuess]:
    kept: list[TimeGuess] = []
    for guess in rivals:
        if all(guess.readings != other.readings for other in kept):
            kept.append(guess)
    return kept


def _days(guess: TimeGuess) -> list[int]:
    return [reading.day for reading in guess.readings if reading is not None and reading.day is not None]


def _plausible(rivals: list[TimeGuess]) -> list[TimeGuess]:
    first, last = (date(year, 1, 1).toordinal() - EPOCH_ORDINAL for year in (_FIRST_YEAR, 2100))
    return [
        guess
        for guess in rivals
        if is_yearless(guess.written) or all(first <= day < last for day in _days(guess))
    ]


def _nearest_to(rivals: list[TimeGuess], written_s: float | None) -> list[TimeGuess]:
    """Those that end when the log was last written, else those that end in about the same year as that."""
    if written_s is None:
        return rivals
    ends = [(max(_days(guess), default=0) - written_s / DAY_S, guess) for guess in rivals]
    recent = [guess for late, guess in ends if -2 <= late <= 1]
    nearest = min(abs(late) for late, _ in ends)
    return recent or [guess for late, guess in ends if abs(late) <= nearest + _A_YEAR]


def _most_compact(rivals: list[TimeGuess]) -> list[TimeGuess]:
    """Midnight changes the day, not the month or the year: the true reading spans the least time."""
    spans = [max(_days(guess), default=0) - min(_days(guess), default=0) for guess in rivals]
    return [guess for guess, span in zip(rivals, spans, strict=True) if span == min(spans)]


def _conventional(rivals: list[TimeGuess]) -> list[TimeGuess]:
    """Six digits begin with the year, numbers with dots with the day.

    Between slashes, and with hyphens and a year of two digits, there is no rule that everybody keeps.
    """
    written = rivals[0].written
    if "%y%m%d" in {order for guess in rivals for order in re.findall("%.%.%.", guess.written)}:
        return [guess for guess in rivals if "%y%m%d" in guess.written]
    if re.search("%[Yymd]/%[Yymd]", written) or (re.search("%[ymd]-%[ymd]", written) and "%y" in written):
        return [guess for guess in rivals if not re.search("%m-%d-%y", guess.written)]
    return [guess for guess in rivals if guess.written.find("%d") < guess.written.find("%m")]


def _is_steady(guess: TimeGuess) -> bool:
    """True if the times run forward, over midnight too, with late lines and long silences."""
    if not guess.has_time:
        days = _days(guess)
        forward = [0 <= later - earlier <= 31 for earlier, later in pairwise(days)]
        return sum(forward) >= _LEAST_FORWARD * len(forward)
    at_s = _instants(guess)
    if not guess.has_date and len(set(at_s)) == 1 and ":" not in guess.written:
        return False
    steps = [later - earlier for earlier, later in pairwise(at_s)]
    if guess.has_date:
        forward = [-LATE_S <= step <= _LONGEST_GAP_S for step in steps]
    else:
        forward = [(step + LATE_S) % DAY_S <= DAY_S / 2 for step in steps]
    return sum(forward) >= _LEAST_FORWARD * len(forward)


def _instants(guess: TimeGuess) -> list[float]:
    return [
        (reading.day or 0) * DAY_S + (reading.second_of_day or 0.0)
        for reading in guess.readings
        if reading is not None
    ]


def _slot_share(guess: TimeGuess) -> float:
    at_s = _instants(guess)
    if "S" not in codes_in(guess.written) and guess.written != "epoch":
        return 1.0
    return sum(at % _SLOT_S == 0 for at in at_s) / len(at_s)


def _differ_by_a_zone(one: TimeGuess, other: TimeGuess) -> bool:
    pairs = zip(one.readings, other.readings, strict=True)
    apart = {
        ((a.second_of_day or 0.0) - (b.second_of_day or 0.0)) % DAY_S
        for a, b in pairs
        if a is not None and b is not None
    }
    return len(apart) == 1 and apart.pop() % 900 == 0
