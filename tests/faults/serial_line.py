"""The serial line, through a pseudo-terminal: the Nth system call on it fails, its adapter is pulled out.

Bytes that come while nobody has the port open are gone, as with a real adapter, so each line is sent while
the source says that it is there. What was sent to a port that then fails under it is counted as inherent. No
line may come twice, none be put together from two.
"""

import queue
import random
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from unittest import mock

from faults.failing import Failing
from faults.row import Faults, Row, open_files
from running import PATIENCE_S
from test_stream_sources import Adapter, until

from sentinel.intake import serial_source, source_thread, stream_source
from sentinel.intake.line import LineBatch
from sentinel.intake.serial_source import SerialSource

RETRY_S = 0.002
LINES = 8


class Reader:
    """A source on the port that retries at once, and what it has delivered."""

    def __init__(self, path: Path) -> None:
        self.source = SerialSource("board", path)
        self._batches: queue.Queue[LineBatch] = queue.Queue()
        self.source.start(self._batches.put)

    @property
    def is_there(self) -> bool:
        return self.source.health().is_there

    @property
    def lines(self) -> int:
        return self.source.health().lines

    def told(self) -> Counter[str]:
        told: Counter[str] = Counter()
        with suppress(queue.Empty):
            while True:
                told.update(self._batches.get_nowait().texts)
        return told


@contextmanager
def reading(path: Path) -> Iterator[Reader]:
    with (
        mock.patch.object(source_thread, "FIRST_RETRY_S", RETRY_S),
        mock.patch.object(source_thread, "LAST_RETRY_S", RETRY_S),
    ):
        reader = Reader(path)
        try:
            yield reader
        finally:
            assert reader.source.stop(PATIENCE_S)


def told_while(failing: Failing) -> tuple[Counter[str], list[str], int]:
    """What is delivered while calls fail: opening the port and reading from it.

    Also what was sent, and how many lines were sent to a port that then failed.
    """
    opened, cut_off, sent = 0, 0, []
    real = serial_source.serial.Serial

    def open_port(*given: Any, **named: Any) -> Any:
        nonlocal opened
        failing.step()
        port = real(*given, **named)
        opened += 1
        return port

    with (
        tempfile.TemporaryDirectory() as folder,
        mock.patch.object(serial_source.serial, "Serial", open_port),
        mock.patch.object(stream_source, "os", failing),
    ):
        adapter = Adapter(Path(folder) / "by-id")
        with reading(Path(folder) / "by-id") as reader:
            for number in range(LINES):
                until(lambda due=cut_off + 1: reader.is_there and opened == due)
                failures, lines = failing.failures, reader.lines
                sent.append(f"line {number}")
                adapter.send(f"{sent[-1]}\r\n".encode("ascii"))
                until(lambda known=(failures, lines): (failing.failures, reader.lines) != known)
                cut_off += failing.failures > failures
            told = reader.told()
        adapter.pull_out()
    return told, sent, cut_off


def nth_calls_fail(in_a_row: int) -> Row:
    """From each call on the port on, so many fail."""
    counting = Failing(("read",), 0, -1)
    told_while(counting)
    survived = lost = inherent = doubled = 0
    open_before = open_files()
    for nth in range(1, counting.count + 1):
        told, sent, cut_off = told_while(Failing(("read",), nth, nth + in_a_row - 1))
        lost += sum(told[line] == 0 for line in sent)
        inherent += cut_off
        wrong = sum(count > 1 for count in told.values()) + len(set(told) - set(sent))
        survived += not wrong
        doubled += wrong
    leaked = open_files() - open_before
    note = f"{doubled} lines doubled or garbled, {leaked} descriptors leaked"
    return Row(counting.count, survived if not leaked else 0, lost, 0, note, inherent)


def unplugged(is_long: bool) -> Row:
    """The adapter is pulled out, often in the middle of a line, and plugged in again."""
    times, chance = (300 if is_long else 30), random.Random(6)
    sent: list[str] = []
    open_before = open_files()
    with tempfile.TemporaryDirectory() as folder:
        adapter = Adapter(Path(folder) / "by-id")
        halves = due = 0
        with reading(Path(folder) / "by-id") as reader:
            for _ in range(times):
                until(lambda: reader.is_there)
                lines = [f"line {len(sent) + number}" for number in range(chance.randrange(4))]
                half = f"half of line {len(sent)}" * chance.randrange(2)
                adapter.send(("".join(f"{line}\r\n" for line in lines) + half).encode("ascii"))
                sent += lines
                halves += bool(half)
                due += len(lines)
                until(lambda due=due: reader.lines == due)
                adapter.pull_out()
                until(lambda: not reader.is_there)
                adapter.plug_in()
            until(lambda: reader.is_there)
            told, discarded = reader.told(), reader.source.health().discarded
        adapter.pull_out()
    leaked = open_files() - open_before
    lost = sum(told[line] == 0 for line in sent)
    is_clean = told.keys() <= set(sent) and max(told.values()) == 1 and discarded <= halves and not leaked
    note = f"{len(sent):,} lines, {discarded} of {halves} halves dropped, {leaked} descriptors leaked"
    return Row(times, times if is_clean else 0, lost, 0, note)


FAULTS: Faults = {
    "the Nth call on the serial line fails, once": lambda is_long: nth_calls_fail(1),
    "the Nth call on the serial line fails, five in a row": lambda is_long: nth_calls_fail(5),
    "the serial adapter is pulled out": unplugged,
}
