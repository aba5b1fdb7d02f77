"""Lines that say the date of the lines below them, for logs with bare times of day."""

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sentinel.intake.learn_clock import choose_format
from sentinel.intake.learn_times import TimeGuess, guesses, is_yearless
from sentinel.intake.time_values import DAY_S, EPOCH_ORDINAL
from sentinel.intake.unclear import Unclear

_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
# what looks like a date with its year, in any order
_DATE = re.compile(
    r"(?<![0-9A-Za-z])(?:"
    r"[0-9]{4}([-/._ ])[0-9]{1,2}\1[0-9]{1,2}"
    r"|[0-9]{1,2}([-/._])[0-9]{1,2}\2(?:[0-9]{4}|[0-9]{2})"
    rf"|[0-9]{{1,2}}[-. ]{_MONTH}[-., ]+[0-9]{{4}}"
    rf"|[0-9]{{4}}[-. ]{_MONTH}[-. ][0-9]{{1,2}}"
    rf"|{_MONTH}[. ]+[0-9]{{1,2}},? [0-9]{{4}}"
    r"|[0-9]{8}|[0-9]{6})(?![0-9])",
    re.IGNORECASE,
)
_CLOCK = re.compile(r"(?<![0-9:])[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:[.][0-9]+)?)?(?![0-9:])")
# A header's own time is that of the lines below it if they follow within an hour.
_SOON_S = 3600.0
# A version and a count beside the date; more of them are a line of data.
_MOST_NUMBERS = 2
# A log has a few kinds of header; more of them are garbage, and each costs some milliseconds.
_MOST_SHAPES = 30


@dataclass(frozen=True, slots=True)
class _Header:
    number: int
    before: str
    day: str
    behind: str

    @property
    def shape(self) -> tuple[str, str]:
        return _shape(self.before), _shape(self.behind)

    @property
    def is_plain(self) -> bool:
        """False for a line with many numbers; six digits must stand alone: they are many things."""
        others = re.findall(r"[0-9.]+", _CLOCK.sub("", self.before + " " + self.behind))
        return len(others) <= (0 if self.day.isdigit() and len(self.day) == 6 else _MOST_NUMBERS)


def find(
    unread: Sequence[tuple[int, str]],
    seconds: dict[int, float],
    named: date | None,
    written_s: float | None,
) -> list[str] | Unclear:
    """Templates for the header lines among ``unread`` (line number and text), or none.

    ``seconds`` holds the second of the day of the decodes, by line number. ``named`` is the date in the
    file's name: a header from before it is about something else.
    """
    groups: dict[tuple[str, str], list[_Header]] = defaultdict(list)
    for number, line in unread:
        found = _DATE.search(line)
        if found is None:
            continue
        header = _Header(number, line[: found.start()], found[0], line[found.end() :])
        if header.is_plain:
            groups[header.shape].append(header)
    readable: list[tuple[TimeGuess, list[_Header]]] = []
    for headers in sorted(groups.values(), key=len, reverse=True)[:_MOST_SHAPES]:
        rivals = [guess for guess in guesses([each.day for each in headers]) if _is_date(guess)]
        if not rivals:
            continue
        guess = choose_format(rivals, written_s)
        if isinstance(guess, Unclear):
            return guess
        readable.append((guess, headers))
    if not readable:
        return []
    # a log may also say when its program was made: the newest dates are those of the lines
    newest = max(_last_day(guess) for guess, _ in readable)
    if named is not None and newest < named.toordinal() - EPOCH_ORDINAL - 1:
        return []
    return [
        _template(guess, headers, seconds) for guess, headers in readable if _last_day(guess) >= newest - 1
    ]


def _is_date(guess: TimeGuess) -> bool:
    return guess.has_date and not guess.has_time and not is_yearless(guess.written)


def _last_day(guess: TimeGuess) -> int:
    return max(reading.day for reading in guess.readings if reading is not None and reading.day is not None)


def _shape(text: str) -> str:
    return " ".join(re.sub(r"\S*[0-9]\S*", "0", _CLOCK.sub("0:0", text)).split())


def _template(guess: TimeGuess, headers: list[_Header], seconds: dict[int, float]) -> str:
    first = headers[0]
    uses_clock = all(_is_soon(header, seconds) for header in headers)
    day = f"{{date:{guess.written}}}"
    before = _around(first.before, "", uses_clock)
    behind = _around(
        first.behind, "" if "{utc" not in before else "used", uses_clock and "{utc" not in before
    )
    return f"{before}{day}{behind}".strip()


def _is_soon(header: _Header, seconds: dict[int, float]) -> bool:
    clock = _CLOCK.search(header.behind) or _CLOCK.search(header.before)
    below = min((number for number in seconds if number > header.number), default=None)
    if clock is None or below is None:
        return False
    (read,) = [guess.readings[0] for guess in guesses([clock[0]])[:1]] or [None]
    if read is None or read.second_of_day is None:
        return False
    return (seconds[below] - read.second_of_day + 120.0) % DAY_S <= _SOON_S


def _around(text: str, used: str, uses_clock: bool) -> str:
    """The text beside the date: words stay, a time is read once, whatever else has digits is skipped."""
    pieces = []
    for blanks, word in re.findall(r"([ \t]*)([^ \t]*)", text):
        pieces.append(" " if blanks else "")
        clock = _CLOCK.search(word) if uses_clock and not used else None
        if clock is not None:
            used = "used"
            written = next(guess.written for guess in guesses([clock[0]]) if guess.has_time)
            rest = word[clock.end() :]
            pieces.append(_literal(word[: clock.start()]) + f"{{utc:{written}}}")
            pieces.append("{skip}" if any(mark.isdigit() for mark in rest) else _literal(rest))
        elif any(mark.isdigit() for mark in word):
            pieces.append("{skip}")
        else:
            pieces.append(_literal(word))
    return "".join(pieces)


def _literal(text: str) -> str:
    return text.replace("{", "{{").replace("}", "}}")
