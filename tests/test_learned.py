"""What a watch has learned over days goes over to the next one: habits, neighbours' places, rates of pings.

A watch that is cut anywhere and begun again from what the diary keeps must say what the uninterrupted one
says. All stations are invented.
"""

import json
import random
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sentinel.recent import MEMORY_S
from sentinel.restart import Memory, begin_again, moved
from sentinel.watch.changes import Change, OpeningChanged, StateChanged
from sentinel.watch.decode import Decode
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.learned import Learned
from sentinel.watch.settings import WatchSettings
from sentinel.watch.watch import Watch

HOUR_S, DAY_S = 3600.0, 86_400.0
FIRST_DAY = 20_608  # 2026-06-04
DAYS = 6
END_S = (FIRST_DAY + DAYS) * DAY_S
SETTINGS = WatchSettings("FN84ab", own_call="VE1QZZ")
NEIGHBOURS = ("VE1QAA", "VE1QAB", "VE1QAC", "VE1QAD")
BEACON, BEACON_SQUARE = "W4QBB", "EM83"  # 1,900 km off, on the air day and night
VISITOR = "W4QVV"  # its prefix is far away, its station two squares off
FAR = {BEACON: BEACON_SQUARE, "K4QAB": "EM84", "N4QAC": "EM94", "W4QAD": "FM05", "K4QAE": "EM95"}
PINGS = (("W8QAG", "EM79"), ("VO1QAH", "GN37"), ("K5QAI", "EM55"), ("VE3QAJ", "EN58"))


def _day(day: int, dice: random.Random) -> Iterator[Decode]:
    start_s = (FIRST_DAY + day) * DAY_S
    for minute in range(0, 1440, 12):
        at_s = start_s + 60 * minute
        yield from (Decode(at_s + 30 * k, f"CQ {BEACON} {BEACON_SQUARE}", -12, 0.1) for k in range(2))
        if 18 * 60 <= minute < 23 * 60 and not (day == DAYS - 1 and minute > 20 * 60):
            yield Decode(at_s + 15, f"CQ {NEIGHBOURS[minute // 12 % 4]} FN84", -3, 0.2)
            yield Decode(at_s + 45, f"CQ {NEIGHBOURS[minute // 12 % 3]} FN84", -3, 0.2)
        if 10 * 60 <= minute < 11 * 60:
            said = "FN83" if day == 0 else "R-09"
            yield Decode(at_s + 75, f"{'CQ' if day == 0 else 'VE1QAA'} {VISITOR} {said}", -1, 0.0)
            yield Decode(at_s + 105, f"VE1QAA {VISITOR} R-09", -1, 0.0)
    for _ping in range(dice.randrange(20, 40)):
        call, square = dice.choice(PINGS)
        yield Decode(
            start_s + 15.0 * dice.randrange(5760), f"CQ {call} {square}", dice.randrange(-15, -3), 0.1
        )
    if day in (2, DAYS - 1):  # an opening of half an hour
        for number, (call, square) in enumerate(list(FAR.items())[1:]):
            for k in range(60):
                yield Decode(
                    start_s + 15 * HOUR_S + 15 * (number % 2) + 30 * k, f"CQ {call} {square}", -5, 0.1
                )


@cache
def log(seed: int) -> tuple[Decode, ...]:
    dice = random.Random(f"habits {seed}")
    decodes = [decode for day in range(DAYS) for decode in _day(day, dice)]
    return tuple(sorted(decodes, key=lambda each: (each.at_s, each.message)))


def said(changes: list[Change]) -> list[tuple[Any, ...]]:
    rows: list[tuple[Any, ...]] = []
    for change in changes:
        if isinstance(change, StateChanged):
            bulletin = change.bulletin
            rows.append((change.at_s, bulletin.state.value, bulletin.because, bulletin.far_stations))
        elif isinstance(change, OpeningChanged):
            rows.append((change.at_s, change.phase.value, change.opening.id, change.opening.stations))
        else:
            rows.append((change.at_s, change.notable.id, change.notable.sentence))
    return rows


def fed(watch: Watch, decodes: tuple[Decode, ...], until_s: float) -> list[Change]:
    changes = [change for decode in decodes for change in watch.feed(decode)]
    return changes + watch.tick(until_s)


def knowledge(heard: tuple[Decode, ...], learned: Learned | None) -> Knowledge:
    """As the diary would give it: the far stations' places and days, and what was learned, as text."""
    days: dict[str, set[int]] = {}
    for decode in heard:
        for call in {*FAR, *(call for call, _ in PINGS)} & set(decode.message.split()):
            days.setdefault(call, set()).add(int(decode.at_s // DAY_S))
    return Knowledge(
        locators={**FAR, **dict(PINGS)},
        days_heard={call: frozenset(found) for call, found in days.items()},
        watched_days=frozenset(int(decode.at_s // DAY_S) for decode in heard),
        learned=learned and Learned.from_json(json.loads(json.dumps(learned.as_json()))),
    )


def cut_at(cut_s: float, decodes: tuple[Decode, ...]) -> tuple[Watch, Watch, tuple[Decode, ...]]:
    """The watch as it stood, the one begun again from it, and what is still to come."""
    before = tuple(each for each in decodes if each.at_s <= cut_s)
    watch = Watch(SETTINGS)
    fed(watch, before, cut_s)
    recent = tuple(each for each in before if each.at_s > cut_s - MEMORY_S)
    again = begin_again(SETTINGS, knowledge(before, watch.learned()), recent, before[0].at_s)
    again.tick(cut_s)
    return watch, again, decodes[len(before) :]


@cache
def uninterrupted(seed: int) -> tuple[list[tuple[Any, ...]], Learned]:
    watch = Watch(SETTINGS)
    rows = said(fed(watch, log(seed), END_S))
    return rows, watch.learned()


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 1), st.floats(0.1, DAYS - 0.01))
def test_a_watch_begun_again_anywhere_says_what_the_uninterrupted_one_says(seed: int, days: float) -> None:
    """Of who is heard for an hour or two in a day the diary knows the day alone; there hours may differ."""
    cut_s = (FIRST_DAY + days) * DAY_S
    watch, again, rest = cut_at(cut_s, log(seed))
    assume(not watch.openings)  # openings go over by their names: tests/test_daemon_restart.py
    assert again.bulletin().state is watch.bulletin().state
    rows, learned = uninterrupted(seed)
    assert said(fed(again, rest, END_S)) == [row for row in rows if row[0] >= cut_s]
    assert replace(again.learned(), far_hours={}) == replace(learned, far_hours={})
    assert again.learned().far_hours[BEACON] == learned.far_hours[BEACON]


def test_without_what_was_learned_the_next_watch_says_otherwise() -> None:
    """So that the test above can fail: a regular is news again, and silent neighbours prove nothing."""
    decodes = log(0)
    cut_s = (FIRST_DAY + DAYS - 1.4) * DAY_S
    watch, _, rest = cut_at(cut_s, decodes)
    recent = tuple(each for each in decodes if cut_s - MEMORY_S < each.at_s <= cut_s)
    forgetful = begin_again(SETTINGS, Knowledge(), recent, decodes[0].at_s)
    ours, theirs = said(fed(watch, rest, END_S)), said(fed(forgetful, rest, END_S))
    assert "blind" in [row[1] for row in ours]
    assert "blind" not in [row[1] for row in theirs]
    assert sum(row[1] == "stirring" for row in theirs) > sum(row[1] == "stirring" for row in ours)


# --- as text ------------------------------------------------------------------------------------------------


@cache
def after_days() -> Learned:
    watch = Watch(SETTINGS)
    fed(watch, log(0), END_S)
    return watch.learned()


def as_text() -> dict[str, Any]:
    data: dict[str, Any] = json.loads(json.dumps(after_days().as_json()))
    return data


def test_what_was_learned_comes_back_from_its_text_as_it_was() -> None:
    assert Learned.from_json(as_text()) == after_days()


def test_it_is_a_few_kilobytes_for_an_ordinary_station() -> None:
    assert len(json.dumps(after_days().as_json())) < 5_000


def test_it_stays_bounded_whatever_is_on_the_air() -> None:
    """Ten days of ever new calls, near and far, each heard in four hours of the day."""
    watch = Watch(SETTINGS)
    for day in range(10):
        for hour in range(4):
            for number in range(676):
                near, far = f"VE1Q{_letters(number)}", f"W{number % 3 + 1}Q{_letters(number)}"
                at_s = (FIRST_DAY + day) * DAY_S + hour * HOUR_S + 5 * number
                watch.feed(Decode(at_s, f"CQ {near} FN84", -3))
                watch.hearing.habits.heard(far, at_s)
                watch.hearing.habits.heard(f"K{far[1:]}", at_s)
    learned = watch.learned()
    text = json.dumps(learned.as_json(), separators=(",", ":"))
    assert (len(learned.near_hours), len(learned.far_hours)) == (500, 1000)
    assert Learned.from_json(json.loads(text)) == learned
    assert len(text) < 300_000


def _letters(number: int) -> str:
    return chr(65 + number // 26 % 26) + chr(65 + number % 26)


@pytest.mark.parametrize(
    ("name", "garbled"),
    [
        ("v", 2),
        ("as_of_s", "now"),
        ("as_of_s", float("nan")),
        ("as_of_s", True),
        ("far_hours", {"W4QBB": {"20608": 1 << 24}}),
        ("far_hours", {"W4QBB": {"yesterday": 1}}),
        ("far_hours", {f"W4Q{n}": {} for n in range(1001)}),
        ("near_hours", {"VE1QAA": {"20608": -1}}),
        ("near_hours", {"V" * 65: {"20608": 1}}),
        ("near_hours", [1, 2]),
        ("watched_days", [1] * 17),
        ("watched_days", "20608"),
        ("silence", [0.5]),
        ("pings_per_min", {"3": None}),
        ("pings_in_hour", -1),
        ("locators", {"VE1QAA": "no locator"}),
        ("locators", {"VE1QAA": "FN84\n"}),
        ("told", [{"a": 1}]),
        ("told_count", 1.5),
        ("clock", {}),
        ("is_clock_stale", 1),
    ],
)
def test_text_with_one_thing_garbled_is_not_believed(name: str, garbled: Any) -> None:
    assert Learned.from_json({**as_text(), name: garbled}) is None


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(),
        lambda x: st.lists(x) | st.dictionaries(st.text(), x),
    )
)
def test_whatever_else_the_text_holds_is_not_believed_either(data: Any) -> None:
    assert Learned.from_json(data) is None


@given(
    st.sampled_from(sorted(as_text())),
    st.none()
    | st.integers()
    | st.floats()
    | st.text()
    | st.lists(st.integers())
    | st.dictionaries(st.text(), st.integers()),
)
def test_a_watch_never_fails_over_what_it_is_given_back(name: str, value: Any) -> None:
    learned = Learned.from_json({**as_text(), name: value})
    watch = begin_again(SETTINGS, Knowledge(learned=learned), log(0)[-200:], None)
    assert watch.tick(END_S) is not None


def test_a_text_that_lacks_a_part_is_not_believed() -> None:
    for name in as_text():
        assert Learned.from_json({key: value for key, value in as_text().items() if key != name}) is None


# --- a clock that was wrong ---------------------------------------------------------------------------------


def test_days_that_have_not_come_yet_are_forgotten_when_the_clock_is_set_back() -> None:
    learned = after_days()
    assert set(learned.watched_days) == set(range(FIRST_DAY, FIRST_DAY + DAYS))
    memory = moved(Memory(Knowledge(learned=learned)), -2 * DAY_S)
    back = memory.knowledge.learned
    assert back is not None
    assert back.as_of_s == learned.as_of_s - 2 * DAY_S
    assert set(back.watched_days) == set(range(FIRST_DAY, FIRST_DAY + DAYS - 1))
    assert max(back.near_hours["VE1QAA"]) == FIRST_DAY + DAYS - 2


def test_pings_count_once_though_the_latest_decodes_are_fed_again() -> None:
    hours = [FIRST_DAY * DAY_S + (3.0 * 24 + k + 0.95) * HOUR_S for k in range(8)]
    cuts = [cut_at(cut_s, log(1)) for cut_s in hours]
    assert any(watch.learned().pings_in_hour for watch, _, _ in cuts)
    for watch, again, _ in cuts:
        assert again.learned() == watch.learned()
