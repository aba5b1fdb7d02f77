"""A start by a wrong wall clock: the time between it and the decoder's first line was watched by nobody."""

from pathlib import Path

import pytest
from nights import LOCAL, calling, seconds

from sentinel.band_diary import BandDiary, Place
from sentinel.event_clock import EventClock
from sentinel.live_watch import LiveWatch
from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_how_often import watched_h
from sentinel.outputs.diary_queries import reading
from sentinel.outputs.diary_queue import DiaryQueue
from sentinel.outputs.diary_statistics import spans
from sentinel.watch.decode import Decode
from sentinel.watch.settings import WatchSettings

FIRST_LINE_S = seconds("2026-06-20T20:45:00")
MONTHS_S = 157 * 86_400.0


def watched_hours(tmp_path: Path, wall_s: float, rate: float, *, is_live: bool) -> float:
    """Of a watch that starts at a wall clock's time, waits a minute, then hears a neighbour for an hour."""
    clock = EventClock(wall_s, 0.0, rate)
    live = LiveWatch(WatchSettings("FN84ab"), clock)
    card, queue = Diary(tmp_path / "diary.sqlite"), DiaryQueue()
    diary = BandDiary(card, queue, "6m")

    def note() -> None:
        if not live.has_verdict:
            return
        place = Place(live.recent.take_lines(), {}, {}, live.learned)
        diary.note(live.bulletin(), (), (), place, live.take_struck())
        queue.drain(card)

    live.let_pass(wall_s + 1.0)
    note()
    live.let_pass(wall_s + 60.0)
    note()
    for heard in calling(LOCAL, FIRST_LINE_S, FIRST_LINE_S + 3601.0):
        now_s = 60.0 + (heard.at_s - FIRST_LINE_S) / rate
        live.feed(Decode(heard.at_s, heard.message, -5.0), is_live, now_s)
        live.settle()
        note()
    card.close()
    with reading(tmp_path / "diary.sqlite") as connection:
        return watched_h(spans(connection, "6m"))


@pytest.mark.parametrize("is_live", [True, False], ids=["live", "backlog"])
@pytest.mark.parametrize("rate", [1.0, 130.0])
@pytest.mark.parametrize("off_s", [-MONTHS_S, MONTHS_S, -3600.0, 3600.0])
def test_only_the_time_of_the_lines_counts_as_watched(
    off_s: float, rate: float, is_live: bool, tmp_path: Path
) -> None:
    assert watched_hours(tmp_path, FIRST_LINE_S + off_s, rate, is_live=is_live) == pytest.approx(
        1.0, abs=0.02
    )


def test_a_quiet_hour_before_the_first_line_counts_as_watched(tmp_path: Path) -> None:
    """By a clock that agrees with the lines: the decoder had nothing to print."""
    live = LiveWatch(WatchSettings("FN84ab"), EventClock(FIRST_LINE_S - 3600.0, 0.0))
    live.let_pass(FIRST_LINE_S - 3600.0)
    live.let_pass(FIRST_LINE_S)
    live.feed(Decode(FIRST_LINE_S + 5.0, f"CQ {LOCAL[0]} FN84", -5.0), True, 3605.0)
    live.settle()
    assert live.take_struck() is None
    assert live.bulletin().since_s < FIRST_LINE_S - 3590.0
