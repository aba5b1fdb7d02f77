"""The decoder's text file: the Nth system call fails, it is rotated under load, it loses its end.

A line counts as lost when it was written and never delivered, as doubled when it was delivered twice. What a
copy-and-truncate takes between the last read and the truncation no reader of that path can have; it is
counted as inherent, and the tail must say so.
"""

import os
import queue
import random
import shutil
import tempfile
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from unittest import mock

from faults.evening import pause
from faults.failing import Failing
from faults.row import Faults, Row, open_files

from sentinel.intake import file_tail
from sentinel.intake.file_source import FileSource
from sentinel.intake.file_tail import FileTail
from sentinel.intake.line import LineBatch

CALLS = ("open", "fstat", "pread", "scandir")
PATIENCE_S = 20.0
ROTATION_EVERY_S = 0.05


# --- the Nth call -----------------------------------------------------------------------------------


def _story(path: Path) -> Iterator[list[str]]:
    """Lines appear, and now and then the file is renamed.

    Farther apart than calls fail in a row: a file that comes and goes unread is nowhere to be found.
    """
    numbers = iter(range(1000))
    for step in range(20):
        if step in (6, 13):
            path.rename(path.with_suffix(f".{step}"))
        lines = [f"line {next(numbers)}" for _ in range(3)]
        with path.open("a", encoding="ascii") as file:
            file.writelines(f"{line}\n" for line in lines)
        yield lines


def _told_by_tail(failing: Failing) -> tuple[Counter[str], list[str]]:
    """What a tail delivers of the story while calls fail, and what was written."""
    told: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder, mock.patch.object(file_tail, "os", failing):
        path = Path(folder) / "decodes.log"
        tail = FileTail(path, "log", say=lambda _sentence: None)
        written: list[str] = []
        for lines in _story(path):
            written += lines
            told.update(text for batch in tail.poll() for text in batch.texts)
        for _ in range(30):
            told.update(text for batch in tail.poll() for text in batch.texts)
        tail.close()
    return told, written


def nth_calls_fail(in_a_row: int) -> Row:
    """From each call of the story on, so many fail."""
    counting = Failing(CALLS, 0, -1)
    _told_by_tail(counting)
    lost, doubled, open_before = 0, 0, open_files()
    for nth in range(1, counting.count + 1):
        told, written = _told_by_tail(Failing(CALLS, nth, nth + in_a_row - 1))
        lost += sum(told[line] == 0 for line in written)
        doubled += sum(count > 1 for count in told.values())
    leaked = open_files() - open_before
    survived = counting.count if not (doubled or leaked) else 0
    return Row(counting.count, survived, lost, 0, f"{doubled} lines doubled, {leaked} descriptors leaked")


# --- rotation ---------------------------------------------------------------------------------------


class Writer:
    """Appends numbered lines as fast as a crowded slot comes, and opens the path again when told."""

    def __init__(self, path: Path) -> None:
        self.lines: list[str] = []
        self._path = path
        self._lock = threading.Lock()
        self._is_over = threading.Event()
        self._file = path.open("ab", buffering=0)
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while not self._is_over.wait(0.001):
            with self._lock:
                line = f"2026-06-14T20:00:00Z -7 0.1 1200 CQ W4QAA EM83 {len(self.lines)}"
                self._file.write(f"{line}\n".encode("ascii"))
                self.lines.append(line)

    @contextmanager
    def held(self) -> Iterator[None]:
        """Nothing is written meanwhile."""
        with self._lock:
            yield

    def reopen(self) -> None:
        with self._lock:
            self._file.close()
            self._file = self._path.open("ab", buffering=0)

    def stop(self) -> None:
        self._is_over.set()
        self._thread.join()
        self._file.close()


def _rename(path: Path, number: int, writer: Writer) -> None:
    """As log rotation does: the writer goes on in the renamed file until it is told."""
    path.rename(path.with_suffix(f".{number % 3}"))
    pause(0.005)
    writer.reopen()


def _copy_and_truncate(path: Path, number: int, writer: Writer) -> None:
    shutil.copyfile(path, path.with_suffix(f".{number % 3}"))
    os.truncate(path, 0)


def rotated(rotate: Callable[[Path, int, Writer], None], is_long: bool) -> Row:
    """Rotate again and again while the writer writes; what the source delivered of it."""
    times = 200 if is_long else 12
    batches: queue.Queue[LineBatch] = queue.Queue()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "decodes.log"
        writer = Writer(path)
        source = FileSource("log", path)
        said: list[str] = []
        with mock.patch.object(source._tail, "_say", said.append):
            source.start(batches.put)
            for number in range(times):
                pause(ROTATION_EVERY_S)
                rotate(path, number, writer)
            writer.stop()
            told = _delivered(batches, writer.lines[-1])
            is_there = _is_there(source)
            source.stop()
    lost = sum(told[line] == 0 for line in writer.lines)
    doubled = sum(count > 1 for count in told.values())
    confessed = sum("gone" in sentence for sentence in said)
    survived = times if is_there and not doubled else 0
    inherent = lost if rotate is _copy_and_truncate and confessed else 0
    note = f"{len(writer.lines):,} lines, {doubled} doubled, said {confessed} times"
    return Row(times, survived, lost, 0, note, inherent)


def _is_there(source: FileSource) -> bool:
    """True once the source says so: it tells how it is after each look."""
    for _ in range(100):
        if source.health().is_there:
            return True
        pause(0.01)
    return False


def _delivered(batches: "queue.Queue[LineBatch]", last: str) -> Counter[str]:
    """All that is delivered up to the last line."""
    told: Counter[str] = Counter()
    with suppress(queue.Empty):
        while not told[last]:
            told.update(batches.get(timeout=PATIENCE_S).texts)
    return told


# --- a power cut ------------------------------------------------------------------------------------


def power_cuts(is_long: bool) -> Row:
    """The log is shorter than the place kept in the diary; the decoder writes on behind the cut.

    What stood behind the cut had been read: nothing of the rest may be read twice, nothing new be lost. The
    log is longer than the kibibyte by which it is known again; a shorter one is read again, and what that
    repeats is removed downstream (so is what a decoder wrote beyond the place before anybody looked:
    ``log_cuts.py`` injects both into the daemon).
    """
    cuts, chance = (200 if is_long else 10), random.Random(6)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "decodes.log"
        told: Counter[str] = Counter()
        written = [f"before: line {n}" for n in range(100)]
        path.write_text("".join(f"{line}\n" for line in written), "ascii")
        place = None
        for cut in range(cuts):
            tail = FileTail(path, "log", checkpoint=place, say=lambda _sentence: None)
            told.update(text for batch in tail.poll() for text in batch.texts)
            for _ in range(3):
                lines = [f"life {cut}: line {len(written) + n}" for n in range(5)]
                written += lines
                with path.open("a", encoding="ascii") as file:
                    file.writelines(f"{line}\n" for line in lines)
                told.update(text for batch in tail.poll() for text in batch.texts)
            place = tail.checkpoint()
            tail.close()
            os.truncate(path, path.stat().st_size - chance.randrange(1, 100))
            _end_line(path)
        lost = sum(told[line] == 0 for line in written)
        doubled = sum(count > 1 for count in told.values())
    note = f"{len(written):,} lines, {doubled} doubled"
    return Row(cuts, cuts if not doubled else 0, lost, 0, note)


def _end_line(path: Path) -> None:
    """A decoder that starts anew begins a line."""
    with path.open("ab") as file:
        file.write(b"\n")


FAULTS: Faults = {
    "the Nth call on the log fails, once": lambda is_long: nth_calls_fail(1),
    "the Nth call on the log fails, five in a row": lambda is_long: nth_calls_fail(5),
    "rename rotations under load": lambda is_long: rotated(_rename, is_long),
    "copy and truncate under load": lambda is_long: rotated(_copy_and_truncate, is_long),
    "power cuts that shorten the log": power_cuts,
}
