"""Habits of days survive a kill: of the real process, through its diary, and also where that is damaged."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from interrupted import rows_of
from nights import LOCAL, SOUTH_WEST, Heard, calling, seconds
from running import PATIENCE_S, Daemon, Decoder, daemon, decoder, eventually

from sentinel.band_diary import BandDiary, Place
from sentinel.event_clock import EventClock
from sentinel.live_watch import LiveWatch
from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_queue import DiaryQueue
from sentinel.outputs.diary_rows import DiaryBatch, Snapshot
from sentinel.watch.decode import Decode
from sentinel.watch.settings import WatchSettings

Shack = tuple[LiveWatch, BandDiary]
START_S = seconds("2026-06-09T18:00:00")
DAY_S = 86_400.0
BEACON = SOUTH_WEST[0]  # on the air day and night: after three days it is no news
NEIGHBOURS = (LOCAL, ("VE1QBD", "FN84"), ("VE1QBE", "FN74"), ("VE1QBF", "FN85"))


def days(since: float, until: float) -> list[Heard]:
    """The beacon twice in half an hour, the neighbours in turn."""
    heard = []
    for number in range(int(48 * since), int(48 * until)):
        at_s = START_S + 1800.0 * number
        heard += [
            *calling(BEACON, at_s, at_s + 60.0),
            *calling(NEIGHBOURS[number % 4], at_s + 75.0, at_s + 90.0),
        ]
    return heard


def learned_on_the_card(running: Daemon) -> float:
    """By when; 0 as long as nothing is there."""
    if not (running.state / "diary.sqlite").exists():
        return 0.0
    with Diary(running.state / "diary.sqlite") as card:
        back = BandDiary(card, DiaryQueue(), "6m").recall()
    learned = back.memory.knowledge.learned
    return 0.0 if learned is None else learned.as_of_s


def changed_until(running: Daemon) -> float:
    if not (running.state / "diary.sqlite").exists():
        return 0.0
    return max(
        (int(row[0]) / 1000 for row in rows_of(running.state / "diary.sqlite")["state_change"]), default=0.0
    )


@pytest.mark.parametrize("is_killed", [False, True], ids=["whole", "killed"])
def test_a_beacon_that_is_no_news_is_none_after_a_kill_either(is_killed: bool, tmp_path: Path) -> None:
    log = tmp_path / "decodes.log"
    log.touch()
    with decoder(log) as band:
        with daemon(tmp_path, None) as running:
            running.says("watching 6m")
            band.hears(days(0, 4.5))
            for number in (1, 2):  # what is news goes to the card at once, and with it what waits
                at_s = START_S + 4.5 * DAY_S + 1800.0 * number
                band.hears(calling(SOUTH_WEST[number], at_s, at_s + 60.0))
                running.says(f"stirring: {SOUTH_WEST[number][0]}")
            eventually(lambda: learned_on_the_card(running) > START_S + 4.4 * DAY_S, "habits", running.log)
            if is_killed:
                running.process.kill()
                running.process.wait(PATIENCE_S)
            else:
                tell_the_rest(band, running)
        if is_killed:
            with daemon(tmp_path, None) as running:
                running.says("watching 6m")
                tell_the_rest(band, running)
    states = [(int(row[0]) / 1000, row[1]) for row in rows_of(running.state / "diary.sqlite")["state_change"]]
    assert "stirring" in [state for at_s, state in states if at_s < START_S + 3.0 * DAY_S]
    half_a_day = [state for at_s, state in states if 4.56 * DAY_S < at_s - START_S < 5 * DAY_S]
    assert "stirring" not in half_a_day


def tell_the_rest(band: Decoder, running: Daemon) -> None:
    """Half a day more, and at its end something that is news and goes to the card at once."""
    band.hears(days(4.6, 5))
    end_s = START_S + 5 * DAY_S
    band.hears(calling(SOUTH_WEST[1], end_s, end_s + 60.0))
    eventually(lambda: changed_until(running) >= end_s, "the last day", running.log)


# --- what a damaged copy does -------------------------------------------------------------------------------


@pytest.fixture
def station(tmp_path: Path) -> Iterator[Shack]:
    """A watch that heard two days, as its diary keeps it."""
    live = LiveWatch(WatchSettings("FN84ab"), EventClock(START_S, 0.0))
    for heard in days(0, 2):
        live.feed(Decode(heard.at_s, heard.message, -5.0), False, 0.0)
    live.settle()
    place = Place(live.recent.take_lines(), {}, {}, live.learned)
    with Diary(tmp_path / "diary.sqlite") as card:
        queue = DiaryQueue()
        diary = BandDiary(card, queue, "6m")
        diary.note(live.bulletin(), live.heard_lately(), (), place)
        queue.drain(card)
        yield live, diary


def test_what_was_learned_comes_back_from_the_diary(station: Shack) -> None:
    live, diary = station
    back = diary.recall().memory.knowledge.learned
    assert back == live.learned()
    assert back is not None and len(back.near_hours) == len(NEIGHBOURS)


@pytest.mark.parametrize("text", ["", "{", "[]", "null", "[" * 100_000, '{"v": 1}', '{"v": 99}'])
def test_damaged_habits_are_told_of_and_left_alone(
    text: str, station: Shack, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    _, diary = station
    with Diary(tmp_path / "diary.sqlite") as card:
        card.write(DiaryBatch(snapshots=(Snapshot("6m", text, "learned"),)))
    memory = diary.recall().memory
    assert memory.knowledge.learned is None
    assert memory.decodes != ()
    assert "what the watch had learned of habits cannot be read" in caplog.text


def test_an_operators_log_that_is_read_later_costs_no_habits(station: Shack) -> None:
    live, _ = station
    before = live.learned()
    live.learn_log({"K4QAB": "EM84"}, frozenset({"K"}), frozenset({"EM84"}))
    assert replace(live.learned(), as_of_s=before.as_of_s, clock=before.clock) == before
    known = live._watch.known()
    assert known.log_locators == {"K4QAB": "EM84"}
    assert known.worked_squares == {"EM84"}
    assert known.days_heard[BEACON[0]] == {int(START_S // DAY_S) + day for day in range(3)}
    assert known.locators[BEACON[0]] == BEACON[1]


def test_habits_from_a_time_that_has_not_come_yet_are_not_believed(station: Shack, tmp_path: Path) -> None:
    live, diary = station
    ahead = live.learned().moved(30 * DAY_S)
    with Diary(tmp_path / "diary.sqlite") as card:
        card.write(DiaryBatch(snapshots=(Snapshot("6m", json.dumps(ahead.as_json()), "learned"),)))
    assert diary.recall().memory.knowledge.learned is None


def test_a_day_of_habits_costs_the_card_little(station: Shack) -> None:
    """At most one copy in ten minutes, and for big ones fewer; packed, with the diary's pages around them."""
    live, diary = station
    written = []
    for minute in range(24 * 60):
        live.let_pass(START_S + 2 * DAY_S + 60.0 * minute)
        place = Place(live.recent.take_lines(), {}, {}, live.learned)
        batch = diary._kept(place, live.now_s)
        written += [row for row in batch.snapshots if row.kind == "learned"]
    assert 140 <= len(written) <= 144
    assert sum(len(row.json) for row in written) < 1_000_000
