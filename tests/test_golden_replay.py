"""Golden replays: logs of every sort and what is said of them, byte for byte, from a file or a serial line.

The records may change when the core is tuned; what each case promises in its configuration may not.
"""

import os
import pty
import queue
import random
import shutil
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from golden_replay import UPDATE, Case, cases, difference, records_of, replayed

from sentinel.intake.file_source import FileSource
from sentinel.intake.line import LineBatch
from sentinel.intake.serial_source import SerialSource
from sentinel.intake.source import Source

CASES = cases()
FEWEST = 50
MOST_BYTES = 3 << 20
PATIENCE_S = 20.0
POLL_S = 0.02
LONGEST_WRITE = 3000
THROUGH_SOURCES = (
    "garbage", "hostile", "crlf", "json-lines", "midnight-2026-06-14", "midnight-header", "printed-twice",
    "out-of-order", "ft4", "wspr", "beacons", "no-snr", "canary-silent", "southern-summer", "es-short-2",
)  # fmt: skip


def test_there_are_at_least_fifty_and_each_is_whole() -> None:
    assert len(CASES) >= FEWEST
    for case in CASES:
        assert case.log.is_file(), f"{case.name}: its log is missing"
        assert case.expected.is_file(), f"{case.name}: its records are missing; make them by\n    {UPDATE}"
    folder = CASES[0].log.parent
    assert {path.stem for path in folder.iterdir()} == {case.name for case in CASES}
    assert sum(path.stat().st_size for path in folder.iterdir()) <= MOST_BYTES


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_log_is_told_as_before_and_as_promised(case: Case) -> None:
    found = replayed(case)
    broken = case.broken_promises(records_of(found))
    assert not broken, f"{case.config.name} promises what does not hold: {', '.join(broken)}"
    expected = case.expected.read_text("utf-8")
    if found != expected:
        shown = "\n".join(difference(expected, found))
        changed = f"{case.name} is told otherwise than before. If that is meant:"
        pytest.fail(f"{changed}\n    {UPDATE}\n{shown}", pytrace=False)


def test_the_comparison_sees_one_changed_byte() -> None:
    expected = CASES[0].expected.read_text("utf-8")
    changed = expected.replace('"state":"quiet"', '"state":"quIet"', 1)
    assert [line[0] for line in difference(expected, changed)] == ["-", "+"]
    assert list(difference(expected, expected)) == []


# --- through the sources of the daemon --------------------------------------------------------------


def pieces(data: bytes) -> Iterator[bytes]:
    """``data`` as a decoder and the system might hand it over: cut anywhere."""
    rng = random.Random(len(data))
    while data:
        size = rng.randint(1, LONGEST_WRITE)
        yield data[:size]
        data = data[size:]


def delivered(source: Source, write: Iterable[None], whole_lines: int) -> list[str]:
    """The lines that ``source`` delivers while ``write`` is run through in a thread of its own."""
    batches: queue.Queue[LineBatch] = queue.Queue()
    writer = threading.Thread(target=lambda: list(write))
    texts: list[str] = []
    source.start(batches.put)
    try:
        _wait_until_there(source)  # what is written before a port is opened is lost
        writer.start()
        deadline = time.monotonic() + PATIENCE_S
        while len(texts) + source.health().discarded < whole_lines:
            assert time.monotonic() < deadline, f"{len(texts)} of {whole_lines} lines came"
            with suppress(queue.Empty):
                texts += batches.get(timeout=POLL_S).texts
        writer.join()
    finally:
        assert source.stop()
    return texts


def _wait_until_there(source: Source) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while not source.health().is_there:
        assert time.monotonic() < deadline, source.health().trouble
        time.sleep(POLL_S / 10)


@contextmanager
def serial_line() -> Iterator[tuple[int, Path]]:
    """The far end, to write to, and the path of a pseudo-terminal."""
    far, near = pty.openpty()
    try:
        yield far, Path(os.ttyname(near))
    finally:
        os.close(near)
        os.close(far)


def through_serial_line(case: Case, folder: Path) -> tuple[list[str], int]:
    data = case.log.read_bytes()
    with serial_line() as (far, path):
        source = SerialSource("serial-1", path, baud=115_200)
        texts = delivered(source, (_write(far, piece) for piece in pieces(data)), data.count(b"\n"))
        return texts, source.health().discarded


def through_file(case: Case, folder: Path) -> tuple[list[str], int]:
    data, path = case.log.read_bytes(), folder / "decodes.log"
    path.touch()
    with path.open("ab", buffering=0) as file:
        source = FileSource("file-1", path)
        texts = delivered(source, (_write(file.fileno(), piece) for piece in pieces(data)), data.count(b"\n"))
        return texts, source.health().discarded


def _write(fd: int, piece: bytes) -> None:
    while piece:
        piece = piece[os.write(fd, piece) :]


@pytest.mark.parametrize("through", [through_serial_line, through_file])
@pytest.mark.parametrize("name", THROUGH_SOURCES)
def test_a_serial_line_and_a_growing_file_tell_what_the_log_tells(
    name: str, through: Callable[[Case, Path], tuple[list[str], int]], tmp_path: Path
) -> None:
    case = Case(name)
    texts, discarded = through(case, tmp_path)
    (tmp_path / case.log.name).write_text("".join(text + "\n" for text in texts), "utf-8")
    shutil.copy(case.config, tmp_path)
    *found, summary = records_of(replayed(Case(name, tmp_path)))
    *expected, whole = records_of(case.expected.read_text("utf-8"))
    assert found == expected
    overlong = {"lines": summary["lines"] + discarded, "rejected": summary["rejected"] + discarded}
    assert {**summary, **overlong} == whole
