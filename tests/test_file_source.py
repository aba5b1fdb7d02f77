"""Tailing by the rules: what is read is exactly what a decoder wrote, whatever happens to the file."""

import os
import queue
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sentinel.intake import file_source
from sentinel.intake.checkpoint import FileCheckpoint
from sentinel.intake.file_source import FileSource
from sentinel.intake.file_tail import FileTail
from sentinel.intake.line import LineBatch


class Watched:
    """A tail under test, with the sentences that it said."""

    def __init__(
        self, path: Path, checkpoint: FileCheckpoint | None = None, backlog_bytes: int = 1 << 18
    ) -> None:
        self.said: list[str] = []
        self.tail = FileTail(
            path, "rx", checkpoint=checkpoint, backlog_bytes=backlog_bytes, say=self.said.append
        )

    def __del__(self) -> None:
        self.tail.close()

    def lines(self) -> list[str]:
        return [text for batch in self.tail.poll() for text in batch.texts]

    def checkpoint(self) -> FileCheckpoint:
        place = self.tail.checkpoint()
        assert place is not None
        return place


def append(path: Path, text: str) -> None:
    with path.open("a") as file:
        file.write(text)


def numbered(start: int, end: int) -> str:
    return "".join(f"line {i:06d}\n" for i in range(start, end))


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "decodes.log"


def test_new_lines_are_read_once_and_a_partial_line_waits(log: Path) -> None:
    log.write_text("one\ntwo\nthr")
    watched = Watched(log)
    assert watched.lines() == ["one", "two"]
    assert watched.lines() == []
    append(log, "ee\n")
    assert watched.lines() == ["three"]
    assert watched.said == []


def test_a_file_that_is_not_there_yet_is_waited_for_and_said_once(log: Path) -> None:
    watched = Watched(log)
    assert [watched.lines() for _ in range(3)] == [[], [], []]
    assert not watched.tail.is_there
    log.write_text("one\n")
    assert watched.lines() == ["one"]
    assert len(watched.said) == 2
    assert "not there" in watched.said[0]
    assert watched.tail.trouble is None


def test_a_directory_or_named_pipe_in_its_place_is_a_trouble_and_does_not_hang(log: Path) -> None:
    os.mkfifo(log)
    watched = Watched(log)
    assert watched.lines() == []
    assert "no regular file" in str(watched.tail.trouble)
    log.unlink()
    log.mkdir()
    assert watched.lines() == []
    log.rmdir()
    log.write_text("one\n")
    assert watched.lines() == ["one"]


def test_a_renamed_file_is_read_to_its_end_before_the_new_one(log: Path) -> None:
    log.write_text("one\n")
    watched = Watched(log)
    assert watched.lines() == ["one"]
    with log.open("a") as held:
        held.write("two\n")
        held.flush()
        log.rename(log.with_suffix(".1"))
        assert watched.lines() == ["two"]
        held.write("three\n")  # the decoder still holds the old file
        held.flush()
        log.write_text("four\n")
        assert watched.lines() == ["three", "four"]
    append(log, "five\n")
    assert watched.lines() == ["five"]


def test_a_line_cut_by_rotation_is_dropped_and_counted_not_glued_to_the_next(log: Path) -> None:
    log.write_text("one\nhalf a li")
    watched = Watched(log)
    watched.lines()
    log.rename(log.with_suffix(".1"))
    log.write_text("two\n")
    assert watched.lines() == ["two"]
    assert watched.tail.discarded == 1


def test_a_rotation_while_nobody_looked_loses_no_line(log: Path) -> None:
    log.write_text("one\n")
    before = Watched(log)
    before.lines()
    append(log, "two\n")
    log.rename(log.with_suffix(".1"))
    log.write_text("three\n")
    assert Watched(log, before.checkpoint()).lines() == ["two", "three"]


def test_a_truncated_file_is_read_from_its_start_and_said_once(log: Path) -> None:
    log.write_text(numbered(0, 100))
    watched = Watched(log)
    watched.lines()
    log.write_text("new\n")
    assert watched.lines() == ["new"]
    assert watched.lines() == []
    assert len(watched.said) == 1
    assert "rewritten" in watched.said[0]


def test_a_file_rewritten_to_at_least_its_old_length_is_noticed(log: Path) -> None:
    log.write_text("one\ntwo\n")
    watched = Watched(log)
    watched.lines()
    inode = log.stat().st_ino
    log.write_text("uno\ndue\ntre\n")
    assert log.stat().st_ino == inode
    assert watched.lines() == ["uno", "due", "tre"]


def test_a_file_replaced_by_a_longer_copy_of_itself_goes_on_where_it_was(log: Path) -> None:
    log.write_text(numbered(0, 200))
    watched = Watched(log)
    watched.lines()
    copy = log.with_suffix(".new")
    copy.write_text(numbered(0, 203))
    copy.replace(log)
    assert watched.lines() == numbered(200, 203).splitlines()


def test_a_checkpoint_resumes_just_behind_the_last_whole_line(log: Path) -> None:
    log.write_text(numbered(0, 500) + "partial")
    before = Watched(log)
    before.lines()
    place = before.checkpoint()
    assert place.offset == len(numbered(0, 500))
    append(log, " line\nnext\n")
    assert Watched(log, place).lines() == ["partial line", "next"]


def test_after_a_power_cut_reading_goes_on_at_the_shorter_end(log: Path) -> None:
    log.write_text(numbered(0, 500))
    before = Watched(log)
    before.lines()
    os.truncate(log, len(numbered(0, 480)) + 3)
    after = Watched(log, before.checkpoint())
    assert after.lines() == []
    assert "power cut" in after.said[0]
    append(log, "first after the cut\n")
    assert after.lines() == ["first after the cut"]
    assert after.checkpoint().offset == log.stat().st_size


def test_another_file_with_the_same_inode_number_is_not_mistaken_for_the_old(log: Path) -> None:
    log.write_text(numbered(0, 500))
    before = Watched(log)
    before.lines()
    log.write_text(numbered(1000, 1600))  # same inode, other text, longer
    after = Watched(log, before.checkpoint())
    assert after.lines() == [f"line {i:06d}" for i in range(1000, 1600)]
    assert len(after.said) == 1


def test_the_device_number_may_change_from_boot_to_boot(log: Path) -> None:
    log.write_text(numbered(0, 5))
    before = Watched(log)
    before.lines()
    append(log, "six\n")
    moved = replace(before.checkpoint(), device=9999)
    assert Watched(log, moved).lines() == ["six"]


def test_at_the_first_start_only_the_last_window_of_a_huge_file_is_read(log: Path) -> None:
    log.write_text(numbered(0, 10_000))
    watched = Watched(log, backlog_bytes=120)
    batches = list(watched.tail.poll())
    assert [text for batch in batches for text in batch.texts] == [
        f"line {i:06d}" for i in range(9990, 10_000)
    ]
    assert [batch.is_live for batch in batches] == [False]
    append(log, "live\n")
    (live,) = watched.tail.poll()
    assert live.texts == ("live",)
    assert live.is_live


def test_a_backlog_without_any_line_end_is_not_searched_for_ever(log: Path) -> None:
    log.write_bytes(b"x" * 100_000)
    watched = Watched(log, backlog_bytes=1000)
    assert watched.lines() == []
    append(log, "\nnext\n")
    assert watched.lines()[-1] == "next"


def test_each_batch_carries_the_checkpoint_behind_its_own_last_line(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sentinel.intake.file_tail.CHUNK_BYTES", 100)
    log.write_text(numbered(0, 50))
    read: list[str] = []
    for batch in Watched(log).tail.poll():
        read += batch.texts
        assert batch.checkpoint is not None
        rest = Watched(log, batch.checkpoint).lines()
        assert read + rest == numbered(0, 50).splitlines()


def test_a_file_that_vanishes_is_said_once_and_its_last_lines_are_still_read(log: Path) -> None:
    log.write_text("one\n")
    watched = Watched(log)
    watched.lines()
    with log.open("a") as held:
        log.unlink()
        held.write("two\n")
    assert [watched.lines() for _ in range(3)] == [["two"], [], []]
    assert not watched.tail.is_there
    assert len(watched.said) == 1
    log.write_text("three\n")
    assert watched.lines() == ["three"]
    assert watched.tail.is_there
    assert len(watched.said) == 2


def test_an_unreadable_file_is_a_trouble_that_ends(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log.write_text("one\n")
    watched = Watched(log)
    watched.lines()
    real = os.pread

    def broken(*_: int) -> bytes:
        raise OSError(5, "Input/output error")

    append(log, "two\n")
    monkeypatch.setattr(os, "pread", broken)
    assert watched.lines() == []
    assert watched.lines() == []
    assert "Input/output error" in str(watched.tail.trouble)
    monkeypatch.setattr(os, "pread", real)
    assert watched.lines() == ["two"]
    assert watched.tail.trouble is None
    assert len(watched.said) == 2


@pytest.mark.parametrize("nth", range(4))
def test_a_call_that_fails_while_new_lines_are_read_loses_none_of_them(
    log: Path, nth: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    log.write_text("one\n")
    watched = Watched(log)
    watched.lines()
    append(log, "two\n")
    real, calls = os.fstat, iter(range(100))

    def broken(fd: int) -> os.stat_result:
        if next(calls) == nth:
            raise OSError(5, "Input/output error")
        return real(fd)

    monkeypatch.setattr(os, "fstat", broken)
    assert [line for _ in range(4) for line in watched.lines()] == ["two"]
    assert watched.tail.trouble is None


def test_a_file_that_opens_and_cannot_be_looked_at_leaves_no_descriptor_behind(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log.write_text("one\n")
    before = len(list(Path("/proc/self/fd").iterdir()))

    def broken(_fd: int) -> os.stat_result:
        raise OSError(5, "Input/output error")

    with monkeypatch.context() as patched:
        patched.setattr(os, "fstat", broken)
        watched = Watched(log)
        assert [watched.lines() for _ in range(20)] == [[]] * 20
    assert len(list(Path("/proc/self/fd").iterdir())) == before
    assert watched.lines() == ["one"]


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["line", "half", "rotate", "restart", "look", "copy"]),
        st.integers(1, 400),
    ),
    max_size=25,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150)
@given(STEPS)
def test_any_order_of_writing_rotating_copying_and_restarting_loses_and_repeats_nothing(
    tmp_path: Path, steps: list[tuple[str, int]]
) -> None:
    log = tmp_path / "walk.log"
    for old in tmp_path.iterdir():
        old.unlink()
    log.write_text("begin\n")
    watched = Watched(log)
    expected, read = ["begin"], watched.lines()
    for number, (step, size) in enumerate(steps):
        text = f"{number} " + "x" * size
        if step == "line":
            append(log, text + "\n")
            expected.append(text)
        elif step == "half":
            append(log, text[: size // 2])
            read += watched.lines()
            append(log, text[size // 2 :] + "\n")
            expected.append(text)
        elif step == "rotate":
            log.rename(tmp_path / f"walk.{number}")
            log.write_text(text + "\n")
            expected.append(text)
        elif step == "restart":
            watched = Watched(log, watched.checkpoint())
        elif step == "copy":
            read += watched.lines()
            (tmp_path / "copy").write_text(log.read_text())
            (tmp_path / "copy").replace(log)
        if step in ("look", "rotate", "copy"):
            read += watched.lines()
    read += watched.lines()
    assert read == expected


# --- the thread ---


class Running:
    """A source in its thread; batches are waited for, never slept for."""

    def __init__(self, path: Path, **options: object) -> None:
        self.batches: queue.Queue[LineBatch] = queue.Queue()
        self.source = FileSource("rx", path, **options)  # type: ignore[arg-type]
        self.source.start(self.batches.put)

    def next_lines(self, count: int) -> list[str]:
        lines: list[str] = []
        while len(lines) < count:
            lines += self.batches.get(timeout=20).texts
        return lines


@pytest.fixture
def running() -> Callable[..., Running]:
    started: list[Running] = []

    def run(path: Path, **options: object) -> Running:
        started.append(Running(path, **options))
        return started[-1]

    yield run  # type: ignore[misc]
    assert all(each.source.stop(20) for each in started)


def test_a_running_source_delivers_what_is_appended_and_follows_a_rotation(
    log: Path, running: Callable[..., Running]
) -> None:
    log.write_text("one\n")
    run = running(log)
    assert run.next_lines(1) == ["one"]
    append(log, "two\n")
    assert run.next_lines(1) == ["two"]
    log.rename(log.with_suffix(".1"))
    log.write_text("three\n")
    assert run.next_lines(1) == ["three"]
    append(log, "four\n")
    assert run.next_lines(1) == ["four"]


def test_a_running_source_waits_for_a_file_that_is_not_there_yet(
    log: Path, running: Callable[..., Running]
) -> None:
    run = running(log)
    log.write_text("one\n")
    assert run.next_lines(1) == ["one"]


def test_without_inotify_the_file_is_polled(
    log: Path, running: Callable[..., Running], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(file_source, "POLL_EVERY_S", 0.01)
    run = running(log, uses_inotify=False)
    log.write_text("one\n")
    assert run.next_lines(1) == ["one"]


def test_when_no_inotify_instance_is_left_the_file_is_polled(
    log: Path, running: Callable[..., Running], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused() -> None:
        raise OSError(24, "Too many open files")

    monkeypatch.setattr(file_source, "INotify", refused)
    monkeypatch.setattr(file_source, "POLL_EVERY_S", 0.01)
    log.write_text("one\n")
    assert running(log).next_lines(1) == ["one"]


def test_a_deaf_inotify_is_given_up_for_polling(
    log: Path, running: Callable[..., Running], monkeypatch: pytest.MonkeyPatch
) -> None:
    # a file system that announces nothing: watches are accepted and no event ever comes
    monkeypatch.setattr(file_source.INotify, "add_watch", lambda *_: 1)
    monkeypatch.setattr(file_source, "STAT_EVERY_S", 0.01)
    monkeypatch.setattr(file_source, "POLL_EVERY_S", 0.01)
    log.write_text("one\n")
    run = running(log)
    assert run.next_lines(1) == ["one"]
    append(log, "two\n")
    assert run.next_lines(1) == ["two"]
    append(log, "three\n")
    assert run.next_lines(1) == ["three"]


def test_health_and_checkpoint_follow_what_was_delivered(log: Path, running: Callable[..., Running]) -> None:
    log.write_bytes(b"one\ntw\xff\n" + b"x" * 5000 + b"\nthree\n")
    run = running(log)
    run.next_lines(3)
    assert run.source.stop(20)
    health = run.source.health()
    assert (health.is_there, health.lines, health.discarded, health.replaced) == (True, 3, 1, 1)
    assert health.last_line_s is not None
    assert health.trouble is None
    place = run.source.checkpoint()
    assert place is not None
    assert place.offset == log.stat().st_size


def test_a_source_that_dies_says_so(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threading, "excepthook", lambda _: None)
    log.write_text("one\n")
    source = FileSource("rx", log)

    def fails(_: LineBatch) -> None:
        raise RuntimeError("a bug downstream")

    source.start(fails)
    for thread in threading.enumerate():
        if thread.name == "source rx":
            thread.join(20)
    assert "has ended" in str(source.health().trouble)
    assert source.stop()


def test_stopping_twice_or_before_starting_is_harmless(log: Path) -> None:
    never_started = FileSource("rx", log)
    assert never_started.stop()
    assert never_started.stop()


def open_descriptors() -> int:
    return sum(1 for _ in Path("/proc/self/fd").iterdir())


def test_opening_and_closing_sources_leaves_no_descriptor_behind(log: Path) -> None:
    log.write_text("one\n")
    before = open_descriptors()
    for _ in range(20):
        run = Running(log)
        run.next_lines(1)
        assert run.source.stop(20)
    assert open_descriptors() == before
