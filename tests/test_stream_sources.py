"""Serial lines, named pipes, standard input and datagrams, each through the real thing on this machine."""

import os
import pty
import queue
import socket
import sys
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from sentinel.intake import source_thread
from sentinel.intake.line import LineBatch
from sentinel.intake.pipe_source import PipeSource
from sentinel.intake.serial_source import SerialSource
from sentinel.intake.source import Source
from sentinel.intake.source_thread import Backoff
from sentinel.intake.udp_source import UdpSource


class Running:
    """A started source; what it delivers is waited for, never slept for."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self._batches: queue.Queue[LineBatch] = queue.Queue()
        source.start(self._batches.put)

    def lines(self, count: int) -> list[str]:
        lines: list[str] = []
        while len(lines) < count:
            lines += self._batches.get(timeout=20).texts
        return lines


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Source], Running]]:
    monkeypatch.setattr(source_thread, "FIRST_RETRY_S", 0.005)
    monkeypatch.setattr(source_thread, "LAST_RETRY_S", 0.005)
    started: list[Source] = []

    def start(source: Source) -> Running:
        started.append(source)
        return Running(source)

    yield start
    assert all(source.stop(20) for source in started)


def until(claim: Callable[[], bool]) -> None:
    """Wait for another thread to make ``claim`` true."""
    for _ in range(2_000_000):
        if claim():
            return
        os.sched_yield()
    raise AssertionError("it never came true")


# --- serial, through a pseudo-terminal ---


class Adapter:
    """A serial adapter that can be pulled out and plugged in again under the same name."""

    def __init__(self, link: Path) -> None:
        self._link = link
        self.plug_in()

    def plug_in(self) -> None:
        self.master, slave = pty.openpty()
        tty.setraw(slave)
        self._link.unlink(missing_ok=True)
        self._link.symlink_to(os.ttyname(slave))
        os.close(slave)

    def send(self, data: bytes) -> None:
        os.write(self.master, data)

    def pull_out(self) -> None:
        self._link.unlink()
        os.close(self.master)


def test_a_serial_line_gives_whole_lines_only(tmp_path: Path, run: Callable[[Source], Running]) -> None:
    adapter = Adapter(tmp_path / "by-id")
    running = run(SerialSource("board", tmp_path / "by-id", baud=115_200, framing="8N1"))
    until(lambda: running.source.health().is_there)
    adapter.send(b"120000 -7 CQ VE1Q")
    adapter.send(b"ZZ FN84\r\n120015 -9 CQ DL5QAB JN58\r\n1200")
    assert running.lines(2) == ["120000 -7 CQ VE1QZZ FN84", "120015 -9 CQ DL5QAB JN58"]
    assert running.source.checkpoint() is None


def test_an_adapter_pulled_out_in_the_middle_of_a_line_comes_back_without_that_half(
    tmp_path: Path, run: Callable[[Source], Running]
) -> None:
    adapter = Adapter(tmp_path / "by-id")
    running = run(SerialSource("board", tmp_path / "by-id"))
    until(lambda: running.source.health().is_there)
    adapter.send(b"one\nhalf a li")
    assert running.lines(1) == ["one"]
    adapter.pull_out()
    until(lambda: not running.source.health().is_there)
    assert "by-id" in str(running.source.health().trouble)
    adapter.plug_in()
    until(lambda: running.source.health().is_there)
    adapter.send(b"two\n")
    assert running.lines(1) == ["two"]
    health = running.source.health()
    assert (health.trouble, health.discarded, health.lines) == (None, 1, 2)


def test_a_port_that_is_not_there_is_waited_for(tmp_path: Path, run: Callable[[Source], Running]) -> None:
    running = run(SerialSource("board", tmp_path / "by-id"))
    until(lambda: running.source.health().trouble is not None)
    assert "not there" in str(running.source.health().trouble)
    adapter = Adapter(tmp_path / "by-id")
    until(lambda: running.source.health().is_there)
    adapter.send(b"one\n")
    assert running.lines(1) == ["one"]


# --- named pipes and standard input ---


def test_a_named_pipe_goes_on_with_the_next_writer(tmp_path: Path, run: Callable[[Source], Running]) -> None:
    path = tmp_path / "decodes"
    os.mkfifo(path)
    running = run(PipeSource("pipe", path))
    path.write_text("one\n")
    assert running.lines(1) == ["one"]
    path.write_text("two\nhalf a line")
    assert running.lines(1) == ["two"]
    until(lambda: running.source.health().discarded == 1)
    path.write_text("three\n")
    assert running.lines(1) == ["three"]
    assert running.source.health().is_there


def test_a_missing_pipe_or_a_plain_file_is_a_trouble_that_ends(
    tmp_path: Path, run: Callable[[Source], Running]
) -> None:
    path = tmp_path / "decodes"
    running = run(PipeSource("pipe", path))
    until(lambda: "mkfifo" in str(running.source.health().trouble))
    path.write_text("a file\n")
    until(lambda: "no named pipe" in str(running.source.health().trouble))
    path.unlink()
    os.mkfifo(path)
    path.write_text("one\n")
    assert running.lines(1) == ["one"]


def test_standard_input_is_read_to_its_last_line_and_then_has_ended(
    run: Callable[[Source], Running], monkeypatch: pytest.MonkeyPatch
) -> None:
    reading, writing = os.pipe()
    with os.fdopen(reading) as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        running = run(PipeSource("stdin", Path("-")))
        os.write(writing, b"one\nlast without an end")
        os.close(writing)
        assert running.lines(2) == ["one", "last without an end"]
        until(lambda: running.source.health().trouble == "standard input has ended")
        assert running.source.stop(20)


# --- datagrams ---


def test_datagrams_give_their_lines_and_no_line_reaches_over_two(run: Callable[[Source], Running]) -> None:
    running = run(UdpSource("udp", "127.0.0.1", 0))
    source = running.source
    assert isinstance(source, UdpSource)
    until(lambda: source.health().is_there)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for datagram in (b"one\ntwo", b"", b"three\r\n", b"\xff\n", b"x" * 5000):
            sender.sendto(datagram, ("127.0.0.1", source.port))
        assert running.lines(4) == ["one", "two", "three", "\ufffd"]
        until(lambda: source.health().discarded == 1)
    assert (source.health().lines, source.health().replaced) == (4, 1)


def test_a_port_in_use_is_a_trouble_that_ends(run: Callable[[Source], Running]) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
        running = run(UdpSource("udp", "127.0.0.1", port))
        until(lambda: running.source.health().trouble is not None)
        assert str(port) in str(running.source.health().trouble)
    until(lambda: running.source.health().is_there)
    assert running.source.health().trouble is None


# --- waiting ---


def test_the_waits_double_up_to_a_minute_and_begin_again_after_a_success() -> None:
    backoff = Backoff()
    assert [backoff.next_s() for _ in range(8)] == [1, 2, 4, 8, 16, 32, 60, 60]
    backoff.reset()
    assert backoff.next_s() == 1


def test_stopping_while_waiting_for_a_lost_port_is_prompt(tmp_path: Path) -> None:
    source = SerialSource("board", tmp_path / "by-id")
    source.start(lambda _: None)
    until(lambda: source.health().trouble is not None)
    assert source.stop(20)
    assert source.stop(20)
