"""Reads whole logs: bytes to decodes in the order of their time, one log or several merged.

Constant memory, whatever the size of the logs. A log whose lines hold only a time of day takes its date from
its name, else from when it was last written.
"""

import heapq
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import BinaryIO

from sentinel.errors import ConfigError, RunError
from sentinel.intake.file_date import date_in_name
from sentinel.intake.layout import Header, Layout, LayoutReader
from sentinel.intake.line_buffer import LineBuffer
from sentinel.intake.timeline import Timeline
from sentinel.watch.decode import Decode

BLOCK_BYTES = 1 << 18
PROBE_LINES = 400
STANDARD_INPUT = Path("-")


@dataclass(slots=True)
class Tally:
    """What was read. ``lines`` are not blank; each is a decode, a header, or rejected."""

    lines: int = 0
    decodes: int = 0
    rejected: int = 0
    late: int = 0


@dataclass(frozen=True, slots=True)
class LogReader:
    """Reads logs by the layout among ``layouts`` that fits each best, up to ``until_s`` if given.

    ``advance`` is told the bytes read, for a progress bar. ``name_of`` a log and its layout is the name of
    the source in the decodes, by default the log's.
    """

    layouts: Sequence[Layout]
    tally: Tally
    until_s: float | None = None
    advance: Callable[[int], None] = lambda _bytes: None
    name_of: Callable[[Path, Layout], str] = lambda log, _layout: log.name

    def read(self, logs: Sequence[Path]) -> Iterator[Decode]:
        """All decodes of all logs by time. Raises ConfigError for a log that is not there."""
        streams = [self._in_order(log) for log in logs]
        if len(streams) == 1:
            return streams[0]
        return heapq.merge(*streams, key=lambda decode: decode.at_s)

    def _in_order(self, log: Path) -> Iterator[Decode]:
        timeline = Timeline()
        yield from timeline.in_order(self._decodes(log))
        self.tally.late += timeline.late

    def _decodes(self, log: Path) -> Iterator[Decode]:
        with _opened(log) as file:
            buffer = LineBuffer()
            blocks = iter(lambda: file.read(BLOCK_BYTES), b"")
            first = next(blocks, b"")
            texts = buffer.feed(first)
            reader = self._reader(log, texts)
            self.advance(len(first))
            yield from self._read_texts(reader, texts)
            for block in blocks:
                yield from self._read_texts(reader, buffer.feed(block))
                self.advance(len(block))
            yield from self._read_texts(reader, buffer.finish())
            self.tally.lines += buffer.discarded
            self.tally.rejected += buffer.discarded

    def _read_texts(self, reader: LayoutReader, texts: Iterable[str]) -> Iterator[Decode]:
        tally, until_s = self.tally, self.until_s
        read = reader.read
        for text in texts:
            found = read(text)
            if found is None:
                continue
            if isinstance(found, Decode):
                if until_s is not None and found.at_s > until_s:
                    continue
                tally.lines += 1
                tally.decodes += 1
                yield found
                continue
            tally.lines += 1
            if not isinstance(found, Header):
                tally.rejected += 1

    def _reader(self, log: Path, texts: Sequence[str]) -> LayoutReader:
        """A reader with the layout that reads most of the first lines, dated by the file."""
        probe = texts[:PROBE_LINES]
        layout = (
            max(self.layouts, key=lambda each: _fitting(each, probe))
            if len(self.layouts) > 1
            else self.layouts[0]
        )
        hint = date_in_name(log.name)
        reader = LayoutReader(layout, source=self.name_of(log, layout), date_hint=hint)
        if layout.needs_date and hint is None and log != STANDARD_INPUT:
            reader.end_near(_lines_of(log), written_s(log))
        return reader


def size_of(logs: Sequence[Path]) -> int | None:
    """Bytes in all, None when that cannot be told (standard input, a pipe)."""
    if any(log == STANDARD_INPUT or not log.is_file() for log in logs):
        return None
    return sum(log.stat().st_size for log in logs)


def _fitting(layout: Layout, texts: Sequence[str]) -> int:
    reader = LayoutReader(layout, date_hint=date(2000, 1, 1))
    return sum(isinstance(reader.read(text), Decode) for text in texts)


def written_s(log: Path) -> float:
    """When a log was last written, seconds since 1970; 0 for what is no file."""
    return log.stat().st_mtime if log.is_file() else 0.0


@contextmanager
def _opened(log: Path) -> Iterator[BinaryIO]:
    if log == STANDARD_INPUT:
        yield sys.stdin.buffer
        return
    try:
        file = log.open("rb")
    except (FileNotFoundError, IsADirectoryError, NotADirectoryError):
        raise ConfigError(f"{log}: there is no such file; name a decoder's log") from None
    except OSError as error:
        raise ConfigError(f"{log}: cannot be read ({error.strerror}); mend its rights") from None
    with file:
        try:
            yield file
        except OSError as error:
            raise RunError(f"{log}: reading failed ({error.strerror})") from None


def first_lines(log: Path) -> list[str]:
    """The lines of a log's first block: enough to learn its layout from. Raises ConfigError."""
    with _opened(log) as file:
        buffer = LineBuffer()
        block = file.read(BLOCK_BYTES)
        return buffer.feed(block) + (buffer.finish() if len(block) < BLOCK_BYTES else [])


def last_lines(log: Path) -> list[str]:
    """The whole lines of a log's last block. Raises ConfigError."""
    with _opened(log) as file:
        size = log.stat().st_size
        file.seek(max(0, size - BLOCK_BYTES))
        lines = LineBuffer().feed(file.read(BLOCK_BYTES))
        return lines[1:] if size > BLOCK_BYTES else lines


def _lines_of(log: Path) -> Iterator[str]:
    """All lines of a log, a block at a time."""
    with _opened(log) as file:
        buffer = LineBuffer()
        for block in iter(lambda: file.read(BLOCK_BYTES), b""):
            yield from buffer.feed(block)
        yield from buffer.finish()
