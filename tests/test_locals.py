"""When all usual neighbours fall silent at once the watch says blind, and states how improbable it is."""

from sentinel.watch.bulletin import BlindReason, State
from sentinel.watch.changes import StateChanged
from sentinel.watch.decode import Decode
from sentinel.watch.locals import Locals
from sentinel.watch.settings import WatchSettings
from sentinel.watch.watch import Watch

HOUR_S = 3600.0
DAY_S = 86_400.0
MONDAY_S = 20_608 * DAY_S  # 2026-06-04 00:00 UTC
CALLS = ("VE1QAA", "VE1QAB", "VE1QAC", "VE1QAD")


def evenings(days: int, learned: Locals) -> None:
    for day in range(days):
        for minute in range(0, 240, 10):
            at_s = MONDAY_S + day * DAY_S + 18 * HOUR_S + minute * 60
            learned.watched(at_s)
            for call in CALLS:
                learned.heard(call, at_s)


def test_the_chance_is_the_product_of_each_neighbours_chance_to_be_silent() -> None:
    """Jeffreys' estimate for a station heard on all of 5 days: (0 + 1/2) / (5 + 1)."""
    learned = Locals()
    evenings(5, learned)
    chance, stations = learned.chance_of_silence(MONDAY_S + 5 * DAY_S + 20 * HOUR_S)
    assert stations == len(CALLS)
    assert abs(chance - (0.5 / 6) ** len(CALLS)) < 1e-12


def test_silence_at_an_hour_when_nobody_is_ever_heard_says_nothing() -> None:
    learned = Locals()
    evenings(5, learned)
    for day in range(6):
        learned.watched(MONDAY_S + day * DAY_S + 3.5 * HOUR_S)
    chance, stations = learned.chance_of_silence(MONDAY_S + 5 * DAY_S + 4 * HOUR_S)
    assert (chance, stations) == (1.0, 0)


def test_two_days_are_too_few_to_judge() -> None:
    learned = Locals()
    evenings(2, learned)
    assert learned.chance_of_silence(MONDAY_S + 2 * DAY_S + 20 * HOUR_S) == (1.0, 0)


def watch_evenings(days: int, deaf_from_s: float) -> list[StateChanged]:
    watch = Watch(WatchSettings("FN84ab"))
    changes = []
    for day in range(days):
        for slot in range(4 * 60 * 4):
            at_s = MONDAY_S + day * DAY_S + 18 * HOUR_S + 15 * slot
            if at_s >= deaf_from_s:
                continue
            changes += watch.feed(Decode(at_s, f"CQ {CALLS[slot % len(CALLS)]} FN84", -5))
    changes += watch.tick(MONDAY_S + days * DAY_S)
    return [change for change in changes if isinstance(change, StateChanged)]


def test_a_receiver_that_goes_deaf_in_the_evening_is_blind_an_hour_later() -> None:
    deaf_from_s = MONDAY_S + 5 * DAY_S + 19 * HOUR_S
    last = watch_evenings(6, deaf_from_s)[-1]
    assert last.bulletin.state is State.BLIND
    assert last.bulletin.blind_reason is BlindReason.LOCALS_SILENT
    assert deaf_from_s + HOUR_S - 15 <= last.at_s <= deaf_from_s + 1.5 * HOUR_S
    assert "4 usual neighbours" in last.bulletin.because
    assert "once in" in last.bulletin.because


def test_neighbours_who_go_to_bed_as_always_blind_nobody() -> None:
    states = [change.bulletin.state for change in watch_evenings(6, MONDAY_S + 6 * DAY_S)]
    assert State.BLIND not in states
