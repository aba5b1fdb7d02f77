"""The daemon's own small parts: its queue, the threads of slow outputs, its name, its idea of the time."""

import threading
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nights import HOME, SOUTH_WEST, seconds

from sentinel.errors import RunError
from sentinel.event_clock import EventClock
from sentinel.identity import node_id, state_directory
from sentinel.inbox import Inbox
from sentinel.line_time import GRID_S, LATE_LINES, LineTime
from sentinel.live_watch import LiveWatch
from sentinel.watch.bulletin import Part, State
from sentinel.watch.changes import Change, OpeningChanged, Phase, StateChanged
from sentinel.watch.decode import Decode
from sentinel.watch.settings import WatchSettings
from sentinel.worker import LatestWorker

PATIENCE_S = 20.0
START_S = seconds("2026-06-14T20:00:00")


# --- the queue --------------------------------------------------------------------------------------


def test_what_was_put_first_is_taken_first() -> None:
    inbox: Inbox[int] = Inbox()
    for number in range(5):
        inbox.put(number)
    assert [inbox.take(0.0) for _ in range(6)] == [0, 1, 2, 3, 4, None]


def test_many_threads_lose_nothing_in_a_small_inbox() -> None:
    inbox: Inbox[tuple[int, int]] = Inbox(most_waiting=3)
    threads = [
        threading.Thread(target=lambda who=who: [inbox.put((who, number)) for number in range(200)])
        for who in range(4)
    ]
    for thread in threads:
        thread.start()
    taken = []
    while len(taken) < 800:
        item = inbox.take(PATIENCE_S)
        if item is not None:
            taken.append(item)
    for thread in threads:
        thread.join(PATIENCE_S)
    for who in range(4):
        assert [number for each, number in taken if each == who] == list(range(200))


def test_a_full_inbox_drops_an_offer_and_takes_it_again_when_there_is_room() -> None:
    inbox: Inbox[int] = Inbox(most_waiting=2)
    for number in range(4):
        inbox.offer(number)
    assert [inbox.take(0.0) for _ in range(2)] == [0, 1]
    inbox.offer(9)
    assert inbox.take(0.0) == 9


def test_a_ring_wakes_whoever_waits_without_an_item() -> None:
    inbox: Inbox[int] = Inbox()
    taken: list[int | None] = []
    waiting = threading.Thread(target=lambda: taken.append(inbox.take(PATIENCE_S)))
    waiting.start()
    inbox.ring()
    waiting.join(PATIENCE_S)
    assert taken == [None]


# --- the threads of outputs -------------------------------------------------------------------------


class Gate:
    """A slow output: waits before each value until it is let through, fails where it is told to."""

    def __init__(self) -> None:
        self.seen: list[int] = []
        self.has_begun = threading.Semaphore(0)
        self.may_go_on = threading.Semaphore(0)
        self.fails_with: Exception | None = None

    def __call__(self, value: int) -> None:
        self.has_begun.release()
        assert self.may_go_on.acquire(timeout=PATIENCE_S)
        if self.fails_with is not None:
            raise self.fails_with
        self.seen.append(value)


@pytest.fixture
def gate() -> Gate:
    return Gate()


def test_of_what_waits_only_the_newest_is_shown_and_the_last_is_shown_before_the_end(gate: Gate) -> None:
    worker: LatestWorker[int] = LatestWorker("glass", gate)
    worker.put(1)
    assert gate.has_begun.acquire(timeout=PATIENCE_S)
    for value in (2, 3, 4):
        worker.put(value)
    gate.may_go_on.release(2)
    assert worker.stop(PATIENCE_S)
    assert gate.seen == [1, 4]


def test_a_failing_output_says_so_until_it_works_again(gate: Gate, caplog: pytest.LogCaptureFixture) -> None:
    worker: LatestWorker[int] = LatestWorker("glass", gate)
    assert worker.part().is_well is None
    for fails_with in (OSError("no \x1b[2Jlight"), OSError("no \x1b[2Jlight"), None):
        gate.fails_with = fails_with
        worker.put(1)
        assert gate.has_begun.acquire(timeout=PATIENCE_S)
        gate.may_go_on.release()
    assert worker.stop(PATIENCE_S)
    assert worker.part().is_well is True
    said = [record.getMessage() for record in caplog.records]
    assert len(said) == 2, "the failure once, the recovery once"
    assert said[0] == r"glass has failed: OSError: no \x1b[2Jlight"
    assert said[1] == "glass works again"


def test_an_output_that_hangs_does_not_keep_the_daemon(gate: Gate) -> None:
    worker: LatestWorker[int] = LatestWorker("glass", gate)
    worker.put(1)
    assert gate.has_begun.acquire(timeout=PATIENCE_S)
    assert not worker.stop(timeout_s=0.01)
    gate.may_go_on.release()
    assert worker.stop(PATIENCE_S)


def test_an_output_that_hangs_is_not_well_until_it_comes_back(
    gate: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    worker: LatestWorker[int] = LatestWorker("glass", gate)
    worker.put(1)
    assert gate.has_begun.acquire(timeout=PATIENCE_S)
    assert worker.part().is_well is None
    monkeypatch.setattr("sentinel.worker.STUCK_S", -1.0)  # as if it had been long
    assert worker.part() == Part("glass", False, "it has not come back for 0 min")
    gate.may_go_on.release()
    assert worker.stop(PATIENCE_S)
    assert worker.part() == Part("glass", True)


# --- the name ---------------------------------------------------------------------------------------


def test_the_name_is_made_once_and_tells_nothing(tmp_path: Path) -> None:
    first, second = tmp_path / "a", tmp_path / "b"
    first.mkdir()
    second.mkdir()
    name = node_id(first)
    assert name.isalnum()
    assert name.islower() or name.isdigit()
    assert node_id(first) == name != node_id(second)


@pytest.mark.parametrize("kept", [b"", b"VE1QZZ\n", b"../../etc\n", b"\xff\xfe", b"a" * 5000])
def test_a_name_that_cannot_be_one_is_made_anew(kept: bytes, tmp_path: Path) -> None:
    (tmp_path / "node-id").write_bytes(kept)
    name = node_id(tmp_path)
    assert len(name) == 12
    assert node_id(tmp_path) == name


def test_a_folder_that_cannot_hold_the_name_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "node-id").mkdir()
    with pytest.raises(RunError, match=r"node-id.*mend"):
        node_id(tmp_path)


def test_the_state_stands_where_the_service_manager_says_else_in_the_users_own_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "xdg"))
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)
    assert state_directory() == tmp_path / "xdg" / "sentinel"
    monkeypatch.setenv("STATE_DIRECTORY", f"{tmp_path / 'one'}:{tmp_path / 'two'}")
    assert state_directory() == tmp_path / "one"
    assert (tmp_path / "one").is_dir()


# --- the time ---------------------------------------------------------------------------------------


def test_event_time_is_the_wall_clocks_until_lines_are_seen_and_theirs_from_then_on() -> None:
    clock = EventClock(wall_s=1e9, monotonic_s=50.0)
    assert clock.now_s(60.0) == 1e9 + 10.0
    clock.saw_live(START_S, 60.0)
    assert clock.now_s(60.0) == START_S
    assert clock.now_s(75.5) == START_S + 15.5
    clock.saw_live(START_S, 75.5)  # a late line
    assert clock.now_s(75.5) == START_S + 15.5


@given(st.lists(st.tuples(st.floats(0, 20), st.floats(-40, 40)), max_size=30), st.sampled_from([1.0, 110.0]))
def test_event_time_never_runs_backwards(steps: list[tuple[float, float]], rate: float) -> None:
    clock = EventClock(START_S, 0.0, rate)
    clock.saw_live(START_S, 0.0)
    monotonic_s, newest_s = 0.0, START_S
    for passed_s, ahead_s in steps:
        monotonic_s += passed_s
        before_s = clock.now_s(monotonic_s)
        assert before_s >= newest_s
        clock.saw_live(before_s + ahead_s, monotonic_s)
        newest_s = clock.now_s(monotonic_s)
        assert newest_s >= before_s


def line(offset_s: float, number: int = 0) -> Decode:
    return Decode(START_S + offset_s, f"CQ VE1QBC {number}")


def test_a_line_about_now_is_believed_as_it_is() -> None:
    for offset_s in (-59.0, 0.0, 59.0):
        assert LineTime().believed(line(offset_s), START_S) == (line(offset_s),)


@pytest.mark.parametrize("offset_s", [-9e8, -3600.0, 7 * 3600.0, 9e8])
def test_one_stray_line_is_dropped_and_the_next_is_believed(offset_s: float) -> None:
    times = LineTime()
    assert times.believed(line(offset_s), START_S) == ()
    assert times.believed(line(15), START_S) == (line(15),)
    assert times.shift_s == 0.0


def test_a_decoder_that_paused_is_believed_at_once() -> None:
    assert LineTime().believed(line(5 * 3600.0), START_S) == (line(5 * 3600.0),)


def test_a_long_pause_is_believed_when_lines_of_two_slots_agree_and_none_is_lost() -> None:
    times, day_s = LineTime(), 86_400.0
    doubted = [line(day_s, 0), line(day_s, 1), line(day_s, 2)]
    assert [times.believed(each, START_S) for each in doubted] == [(), (), ()]
    assert times.believed(line(day_s + 15, 3), START_S) == (*doubted, line(day_s + 15, 3))


@pytest.mark.parametrize("by_s", [-1e8, -1e5, -1e4, 1e4, 1e5, 1e8])
def test_a_clock_that_was_set_changes_no_event_time(by_s: float) -> None:
    times = LineTime()
    (believed,) = times.believed(line(by_s), START_S, is_by_wall=True)
    assert 0.0 <= believed.at_s - START_S < GRID_S
    assert times.shift_s % GRID_S == 0.0, "slots stay where UTC puts them"
    (after,) = times.believed(line(by_s + 15), believed.at_s + 15, is_by_wall=True)
    assert after.at_s == believed.at_s + 15
    assert replace(after, at_s=START_S + by_s + 15) == line(by_s + 15)


@pytest.mark.parametrize("before_first_line_s", [0.0, 100.0, -100.0])
def test_a_clock_that_is_set_again_and_again_closes_no_opening(before_first_line_s: float) -> None:
    """Each time by another amount, also before the first live line.

    What the decoder hears while the clock is set bears the stamp of before, and is read after.
    """
    live = LiveWatch(WatchSettings(HOME), EventClock(START_S, 0.0))
    now_s, stamped_s, changes = 0.0, 0.0, list[Change]()
    for moved_s in (0.0, before_first_line_s, -1e3, 1e4, 300.0, -1e5, 1e6, 1e6 + 50.0, -1e8):
        for _ in range(3):
            now_s += 15.0
            for call, square in SOUTH_WEST:
                heard = Decode(START_S + now_s + stamped_s, f"CQ {call} {square}", -5.0, 0.1, 1200.0)
                changes += live.feed(heard, now_s > 45.0, now_s, moved_s)
            changes += live.settle()
            stamped_s = moved_s
        changes += live.let_pass(live.clock.now_s(now_s))
    assert [each.phase for each in changes if isinstance(each, OpeningChanged)] == [Phase.BEGAN]
    assert [each.bulletin.state for each in changes if isinstance(each, StateChanged)][-1] is State.OPEN


def test_so_many_late_lines_that_the_decoders_clock_must_have_been_set_back_are_all_believed() -> None:
    times = LineTime()
    late = [line(-7200.0 + 15 * number, number) for number in range(LATE_LINES)]
    told = [times.believed(each, START_S + 15 * number) for number, each in enumerate(late)]
    assert told[:-1] == [()] * (LATE_LINES - 1)
    assert [each.message for each in told[-1]] == [each.message for each in late]
    stamps = [each.at_s for each in told[-1]]
    assert stamps == sorted(stamps)
