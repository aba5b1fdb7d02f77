"""The operator's own log in ADIF, the open format: whom and where the station has worked on a band.

The file is read record by record, so that a log of a lifetime needs no more memory than its longest record.
It comes from other programs: a field may lie about its length, a record may lack its end, and a file may be
something else altogether. What cannot be understood is left out and counted; a file without a single contact
is one sentence.
"""

import logging
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TextIO

import adif_io

from sentinel.errors import RunError
from sentinel.trade.callsign import parse_call
from sentinel.trade.locator import is_locator, normalize, square_of
from sentinel.trade.prefixes import area_of
from sentinel.watch.bulletin import Part

LARGEST_RECORD = 1 << 16
"""Characters. A record with every field of the standard has a few thousand."""
LARGEST_LOG_BYTES = 1 << 30
MOST_LOCATORS = 20_000
PADDING = 64 * " "
"""For a last field that claims to be longer than it is; values are stripped."""
CHUNK_CHARACTERS = 1 << 16

_log = logging.getLogger("sentinel.log")

_MARK = re.compile(r"<(?:(?P<end>eor|eoh)|\w+:(?P<length>\d{1,9})(?::[^>]{0,20})?)>", re.IGNORECASE)
_END, _END_OF_HEADER = re.compile("<eor>", re.IGNORECASE), re.compile("<eoh>", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class WorkedLog:
    """What a log says of one band. ``countries`` are the codes of ``trade.prefixes``, ``squares`` have four
    characters; confirmed is what the other side has confirmed in whatever way. ``locators`` are the last
    given by each call, on any band."""

    countries_worked: frozenset[str] = frozenset()
    countries_confirmed: frozenset[str] = frozenset()
    squares_worked: frozenset[str] = frozenset()
    squares_confirmed: frozenset[str] = frozenset()
    locators: Mapping[str, str] = field(default_factory=dict)
    contacts: int = 0
    unread: int = 0


def read_worked_log(path: Path, band: str) -> WorkedLog:
    """Read a log. Raises RunError, one sentence, for a file that cannot be read or holds no contact."""
    builder = _Builder(band)
    try:
        if path.stat().st_size > LARGEST_LOG_BYTES:
            raise RunError(f"the log {path} is larger than a log can be; is it the right file?")
        with path.open(encoding="utf-8", errors="replace") as file:
            for text in _records(file):
                builder.take(_without_header(text))
    except OSError as error:
        raise RunError(f"the log {path} cannot be read: {error.strerror or error}") from None
    if builder.contacts == 0:
        raise RunError(f"the log {path} holds no contact that can be read; is it an ADIF file (.adi)?")
    return builder.done()


class WorkedLogFile:
    """A log that is read again whenever it has changed; ``worked`` is the last good reading."""

    def __init__(self, path: Path, band: str) -> None:
        self.worked: WorkedLog | None = None
        self.trouble = ""
        self._path, self._band = path, band
        self._seen: tuple[int, int, int] | None = None

    def look(self) -> None:
        """Read it if it is another than last time; what is wrong is said in ``trouble``, once in the log."""
        try:
            found = self._path.stat()
            seen = (found.st_ino, found.st_size, found.st_mtime_ns)
            if seen == self._seen:
                return
            self._seen = seen
            self.worked = read_worked_log(self._path, self._band)
            trouble = ""
        except RunError as error:
            trouble = str(error)
        except OSError as error:
            self._seen = None
            trouble = f"the log {self._path} cannot be read: {error.strerror or error}"
        if trouble != self.trouble:
            self.trouble = trouble
            _log.warning("%s", ascii(trouble)[1:-1] if trouble else f"the log {self._path} can be read again")

    def part(self) -> Part:
        """The log as a part of the station."""
        is_well = False if self.trouble else None if self.worked is None else True
        return Part("log", is_well, self.trouble)


def _records(file: TextIO) -> Iterator[str]:
    """The texts between the ends of records, the header before the first; overlong ones come out empty."""
    held = ""
    while chunk := file.read(CHUNK_CHARACTERS):
        held += chunk
        start = 0
        while (end := _end_of_record(held, start)) is not None:
            yield held[start : end[0]]
            start = end[1]
        held = held[start:]
        if len(held) > LARGEST_RECORD:  # a field that lies about its length, or no ADIF: go on behind it
            literal = _END.search(held)
            held = held[literal.end() :] if literal else ""
            yield ""


def _end_of_record(text: str, start: int) -> tuple[int, int] | None:
    """Where the mark that ends the record begins and ends; what stands inside a field's value is none."""
    while (mark := _MARK.search(text, start)) is not None:
        if mark["end"] and mark["end"].lower() == "eor":
            return mark.start(), mark.end()
        start = mark.end() + int(mark["length"] or 0)
    return None


def _without_header(text: str) -> str:
    header = _END_OF_HEADER.search(text)
    return text[header.end() :] if header else text


class _Builder:
    """Takes records, one at a time."""

    def __init__(self, band: str) -> None:
        self.contacts = 0
        self._band = band.lower()
        self._unread = 0
        self._countries: dict[str, bool] = {}
        self._squares: dict[str, bool] = {}
        self._locators: dict[str, str] = {}

    def take(self, text: str) -> None:
        """A record. One that swallowed the next, as lengths counted in bytes make it, is two."""
        fields = _fields(text)
        parts = _END.split(text)
        if not fields and len(parts) > 1:
            for part in parts:
                self._take(_fields(part))
        else:
            self._take(fields)

    def _take(self, fields: Mapping[str, str]) -> None:
        call = parse_call(fields.get("CALL", "").strip().upper())
        if call is None:
            self._unread += 1
            return
        self.contacts += 1
        locator = fields.get("GRIDSQUARE", "").strip()
        locator = normalize(locator) if is_locator(locator) else ""
        if locator and (call.text in self._locators or len(self._locators) < MOST_LOCATORS):
            self._locators[call.text] = locator
        if fields.get("BAND", "").strip().lower() != self._band:
            return
        is_confirmed = _is_confirmed(fields)
        area = area_of(call.place) if call.place else None
        if area is not None:
            self._countries[area.code] = self._countries.get(area.code, False) or is_confirmed
        if locator:
            square = square_of(locator)
            self._squares[square] = self._squares.get(square, False) or is_confirmed

    def done(self) -> WorkedLog:
        return WorkedLog(
            countries_worked=frozenset(self._countries),
            countries_confirmed=frozenset(code for code, is_sure in self._countries.items() if is_sure),
            squares_worked=frozenset(self._squares),
            squares_confirmed=frozenset(square for square, is_sure in self._squares.items() if is_sure),
            locators=self._locators,
            contacts=self.contacts,
            unread=self._unread,
        )


def _fields(text: str) -> Mapping[str, str]:
    """The fields of one record; none where it cannot be read."""
    start = text.find("<")
    if start < 0:
        return {}
    try:
        records, _header = adif_io.read_from_string(text[start:] + PADDING + "<eor>")
    except (adif_io.AdifError, ValueError):
        return {}
    return records[0] if len(records) == 1 else {}


def _is_confirmed(fields: Mapping[str, str]) -> bool:
    """Y, or V for one that was checked, in any of the fields for confirmations received (ADIF 3)."""
    return any(
        name.endswith("QSL_RCVD") and value.strip().upper() in ("Y", "V") for name, value in fields.items()
    )
