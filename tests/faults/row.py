"""One row of the table of faults: what was injected, what was survived, what was lost, what was written."""

import resource
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

HEAD = ("fault", "injected", "survived", "lost", "written", "")


@dataclass(frozen=True, slots=True)
class Row:
    """``lost`` counts what had been acknowledged, or read, and is gone; None where nothing can be.

    ``written_bytes`` is what Sentinel handed to write calls; None where nobody counted.
    ``inherent`` of the lost cannot be saved by any reader.
    """

    injected: int
    survived: int
    lost: int | None = None
    written_bytes: int | None = None
    note: str = ""
    inherent: int = 0

    @property
    def is_good(self) -> bool:
        """Everything was survived, and nothing lost that could be kept."""
        return 0 < self.injected == self.survived and (self.lost or 0) <= self.inherent

    def cells(self) -> tuple[str, ...]:
        """What stands beside the fault's name in the table."""
        lost = "-" if self.lost is None else f"{self.lost:,}"
        written = "-" if self.written_bytes is None else in_words(self.written_bytes)
        note = self.note if self.is_good else f"FAILED {self.note}"
        if self.is_good and self.lost:
            note += "; what is lost nobody could keep"
        return (f"{self.injected:,}", f"{self.survived:,}", lost, written, note)


Fault = Callable[[bool], Row]
"""Injects one kind of fault, as often as the figures to beat say (True) or a few times, and tells its row."""

Faults = Mapping[str, Fault]
"""The faults of a module by what the table calls them."""


def in_words(count: int) -> str:
    """A number of bytes for people."""
    if count < 10_000:
        return f"{count} B"
    return f"{count / 1e3:,.0f} kB" if count < 10_000_000 else f"{count / 1e6:,.1f} MB"


def table(rows: Iterable[tuple[str, ...]]) -> Iterator[str]:
    """The lines of the table, with a head; each row is a fault's name and its cells."""
    cells = [HEAD, *rows]
    widths = [max(len(row[column]) for row in cells) for column in range(len(HEAD) - 1)]
    for row in cells:
        left, *numbers = (
            cell.ljust(width) if column == 0 else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=False))
        )
        yield "  ".join((left, *numbers, row[-1])).rstrip()


class Written:
    """Bytes that this process handed to write calls, while in context."""

    def __init__(self) -> None:
        self.bytes = 0


@contextmanager
def written() -> Iterator[Written]:
    """Counts what is written meanwhile, by all threads of this process."""
    counted, before = Written(), written_by("self")
    try:
        yield counted
    finally:
        counted.bytes = written_by("self") - before


def written_by(pid: int | str) -> int:
    """Bytes that a process has handed to write calls so far; 0 once it is gone."""
    try:
        lines = Path(f"/proc/{pid}/io").read_text("ascii").splitlines()
    except (FileNotFoundError, ProcessLookupError):
        return 0
    return int(next(line.partition(":")[2] for line in lines if line.startswith("wchar")))


def open_files() -> int:
    """How many descriptors this process has open."""
    return len(list(Path("/proc/self/fd").iterdir()))


def resident_mib() -> float:
    """The memory that this process has resident."""
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    return pages * resource.getpagesize() / 2**20
