"""The lamps on mocked pins, over their whole timed history, and the rules of night, calm and buzzer."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from threading import Thread

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory, MockPWMPin
from hypothesis import given
from hypothesis import strategies as st

from sentinel.errors import RunError
from sentinel.panel.buzzer import FRESH_S, BuzzerRule
from sentinel.panel.gpio import PinLamps, open_buzzer, open_lamps
from sentinel.panel.lamps import (
    CALM,
    GAMMA,
    RHYTHMS,
    SILENT_WATCH_S,
    Arrangement,
    LampPlayer,
    Night,
    Signal,
    is_lit_at,
    levels_at,
    places,
)
from sentinel.panel.pins import BUZZER, LAMPS
from sentinel.panel.samples import samples
from sentinel.watch.bulletin import Bulletin, State

COUNTS = {Arrangement.ONE: 1, Arrangement.THREE: 3, Arrangement.RGB: 3, Arrangement.BAR: 8}


@pytest.fixture
def factory() -> Iterator[MockFactory]:
    before = Device.pin_factory
    made = MockFactory(pin_class=MockPWMPin)
    yield made
    made.reset()
    Device.pin_factory = before


class Recorder:
    """A row of lamps that keeps (time, levels), and hands them on to real pins if it has any."""

    def __init__(self, pins: PinLamps | None = None) -> None:
        self.now_s = 0.0
        self.pins = pins
        self.history: list[tuple[float, tuple[float, ...]]] = []

    def set(self, levels: Sequence[float]) -> None:
        self.history.append((round(self.now_s, 3), tuple(levels)))
        if self.pins is not None:
            self.pins.set(levels)

    def close(self) -> None:
        if self.pins is not None:
            self.pins.close()


def played(row: Recorder, player: LampPlayer, until_s: float) -> int:
    """Step the player through its own waits until a time; returns the number of wake-ups."""
    wakes = 0
    while row.now_s < until_s:
        row.now_s += player.step()
        wakes += 1
    return wakes


ONE_WHITE_LED = {
    State.QUIET: [(0.0, 1.0), (0.06, 0.0), (10.0, 1.0), (10.06, 0.0)],
    State.STIRRING: [
        (0.0, 1.0), (0.3, 0.0), (0.6, 1.0), (0.9, 0.0), (4.0, 1.0), (4.3, 0.0), (4.6, 1.0), (4.9, 0.0),
        (8.0, 1.0), (8.3, 0.0), (8.6, 1.0), (8.9, 0.0), (12.0, 1.0),
    ],
    State.OPEN: [
        (0.0, 1.0), (2.7, 0.0), (3.0, 1.0), (5.7, 0.0), (6.0, 1.0), (8.7, 0.0), (9.0, 1.0),
        (11.7, 0.0), (12.0, 1.0),
    ],
    State.BLIND: [
        (0.0, 1.0), (1.2, 0.0), (1.6, 1.0), (1.8, 0.0), (4.0, 1.0), (5.2, 0.0), (5.6, 1.0), (5.8, 0.0),
        (8.0, 1.0), (9.2, 0.0), (9.6, 1.0), (9.8, 0.0), (12.0, 1.0),
    ],
}  # fmt: skip


@pytest.mark.parametrize("state", State)
def test_one_white_led_plays_each_state_over_twelve_seconds(state: State, factory: MockFactory) -> None:
    """The whole history on the pin, not a prefix: what is set, in order, and when."""
    row = Recorder(open_lamps(LAMPS["one"], factory=factory))
    player = LampPlayer(row, Arrangement.ONE, 1, lambda: row.now_s)
    player.show(Signal(state))
    played(row, player, 12.0005)
    expected = ONE_WHITE_LED[state]
    assert row.history == [(at_s, (level,)) for at_s, level in expected]
    pin = factory.pin(LAMPS["one"][0])
    assert [entry.state for entry in pin.states] == [0.0, *(level for _, level in expected)]
    row.close()
    assert pin.function == "input"


def test_the_table_of_rhythms_is_the_one_documented() -> None:
    periods = {state: round(sum(seconds for seconds, _ in rhythm), 3) for state, rhythm in RHYTHMS.items()}
    assert periods == {State.QUIET: 10.0, State.STIRRING: 4.0, State.OPEN: 3.0, State.BLIND: 4.0}


def lit_share(state: State) -> float:
    rhythm = RHYTHMS[state]
    return sum(s for s, is_lit in rhythm if is_lit) / sum(s for s, _ in rhythm)


def test_any_two_states_differ_on_one_lamp_by_more_than_an_eye_needs() -> None:
    """By the share of time lit (a factor of two or more), or by flashes a period of unlike length."""
    for one, other in combinations(State, 2):
        shares = sorted([lit_share(one), lit_share(other)])
        flashes = [sorted(s for s, is_lit in RHYTHMS[state] if is_lit) for state in (one, other)]
        assert shares[1] >= 2 * shares[0] or flashes[0] != flashes[1]
    long, short = sorted((s for s, is_lit in RHYTHMS[State.BLIND] if is_lit), reverse=True)
    assert long >= 3 * short, "a dash is three dots long (ITU-R M.1677)"


@pytest.mark.parametrize("arrangement", [Arrangement.THREE, Arrangement.BAR, Arrangement.RGB])
def test_every_state_has_its_own_place(arrangement: Arrangement) -> None:
    taken = {places(state, arrangement, COUNTS[arrangement]) for state in State}
    assert len(taken) == len(State)


@pytest.mark.parametrize("count", range(1, 9))
def test_a_bar_of_any_length_lights_something_in_every_state(count: int) -> None:
    for state in State:
        place = places(state, Arrangement.BAR, count)
        assert len(place) == count and max(place) == 1.0


@given(st.sampled_from(State), st.floats(0, 1e6))
def test_the_rhythm_at_any_time_is_that_of_its_period(state: State, since_s: float) -> None:
    is_lit, lasts_s = is_lit_at(state, since_s)
    assert 0 < lasts_s <= max(seconds for seconds, _ in RHYTHMS[state]) + 1e-6  # of a large since_s
    later, _ = is_lit_at(state, since_s + lasts_s + 0.001)
    assert later is not is_lit, "after what is announced comes the other level"


@given(st.sampled_from(State), st.floats(0, 100), st.sampled_from(Arrangement), st.floats(-1, 2))
def test_levels_stay_between_dark_and_full(
    state: State, since_s: float, arrangement: Arrangement, brightness: float
) -> None:
    levels, _ = levels_at(state, since_s, arrangement, COUNTS[arrangement], brightness)
    assert len(levels) == COUNTS[arrangement] and all(0.0 <= level <= 1.0 for level in levels)


@pytest.mark.parametrize("state", State)
@pytest.mark.parametrize("arrangement", Arrangement)
def test_the_lamps_wake_the_processor_at_most_once_a_second(state: State, arrangement: Arrangement) -> None:
    """The daemon's whole budget is 2 wake-ups a second."""
    row = Recorder()
    player = LampPlayer(row, arrangement, COUNTS[arrangement], lambda: row.now_s)
    player.show(Signal(state))
    assert played(row, player, 100.0) <= 101


def test_a_rhythm_begins_anew_only_with_a_new_state() -> None:
    row = Recorder()
    player = LampPlayer(row, Arrangement.ONE, 1, lambda: row.now_s)
    player.show(Signal(State.OPEN))
    played(row, player, 2.0)
    row.now_s = 1.0
    player.show(Signal(State.OPEN, brightness=0.5))
    player.step()
    assert row.history[-1] == (1.0, (round(0.5**GAMMA, 4),))
    row.now_s = 2.75
    player.step()
    assert row.history[-1] == (2.75, (0.0,)), "the eclipse comes when it would have come"
    player.show(Signal(State.QUIET))
    player.step()
    assert row.history[-1] == (2.75, (1.0,)), "a new state shows at once"


def test_acknowledged_lamps_calm_down_and_keep_their_rhythm() -> None:
    calm, _ = levels_at(State.OPEN, 0.0, Arrangement.ONE, 1, Signal(State.OPEN, 1.0, True).eye_level)
    assert calm == (round(CALM**GAMMA, 4),)
    assert Signal(State.OPEN, 0.05, True).eye_level == 0.05, "never brighter than the night allows"
    assert is_lit_at(State.OPEN, 2.8) == (False, pytest.approx(0.2))


def test_a_watch_that_no_longer_reports_is_shown_as_blind() -> None:
    row = Recorder()
    player = LampPlayer(row, Arrangement.THREE, 3, lambda: row.now_s)
    player.show(Signal(State.QUIET))
    played(row, player, SILENT_WATCH_S + 3.0)
    seen = {levels for at_s, levels in row.history if at_s <= SILENT_WATCH_S}
    assert seen == {(1.0, 0.0, 0.0), (0.0, 0.0, 0.0)}
    after = [levels for at_s, levels in row.history if at_s > SILENT_WATCH_S]
    assert after[0] == (1.0, 0.0, 1.0), "the outer two: the place of blind"
    player.show(Signal(State.QUIET))
    player.step()
    assert row.history[-1][1] == (1.0, 0.0, 0.0)


def test_the_player_ends_dark(factory: MockFactory) -> None:
    row = open_lamps(LAMPS["three"], factory=factory)
    player = LampPlayer(row, Arrangement.THREE, 3, lambda: 0.0)
    player.show(Signal(State.OPEN))
    thread = Thread(target=player.run)
    thread.start()
    player.end()
    thread.join(10.0)
    assert not thread.is_alive()
    assert all(factory.pin(pin).function == "input" for pin in LAMPS["three"])


def test_common_anode_lamps_are_lit_by_a_low_pin(factory: MockFactory) -> None:
    row = open_lamps(LAMPS["rgb"], is_active_high=False, factory=factory)
    row.set((1.0, 0.25, 0.0))
    assert [factory.pin(pin).state for pin in LAMPS["rgb"]] == [0.0, 0.75, 1.0]
    row.close()


def test_a_pin_in_use_is_named(factory: MockFactory) -> None:
    row = open_lamps(LAMPS["one"], factory=factory)
    with pytest.raises(RunError, match=r"lamps cannot use GPIO 12: .*already in use"):
        open_lamps(LAMPS["three"], factory=factory)
    row.close()


@pytest.mark.parametrize(
    ("local_min", "is_night"), [(0, True), (419, True), (420, False), (1319, False), (1320, True)]
)
def test_the_night_runs_over_midnight(local_min: int, is_night: bool) -> None:
    assert Night().is_night(local_min, None) is is_night


def test_a_night_may_lie_within_one_day_or_follow_the_sun() -> None:
    nap = Night(from_min=13 * 60, to_min=14 * 60)
    assert [nap.is_night(hour * 60, None) for hour in (12, 13, 14)] == [False, True, False]
    by_sun = Night(by_sun=True)
    assert [by_sun.is_night(720, sun_deg) for sun_deg in (-20.0, -6.0, 30.0)] == [True, False, False]
    assert by_sun.is_night(0, None), "without a place the clock decides"


LIVING = replace(samples()["open"], openings=samples()["open"].openings[:1])


def begun(bulletin: Bulletin, name: str, age_s: float) -> Bulletin:
    opening = replace(bulletin.openings[0], id=name, began_at_s=bulletin.at_s - age_s)
    return replace(bulletin, openings=(opening,))


def test_the_buzzer_is_silent_unless_it_is_asked_for() -> None:
    assert not BuzzerRule().should_sound(begun(LIVING, "a", 60.0), is_night=False)


def test_the_buzzer_sounds_once_for_an_opening() -> None:
    rule = BuzzerRule(is_enabled=True)
    heard = [
        rule.should_sound(begun(LIVING, name, age_s), is_night=False)
        for name, age_s in (("a", 30.0), ("a", 90.0), ("b", 30.0), ("b", 60.0), ("a", 120.0))
    ]
    assert heard == [True, False, True, False, False]


def test_the_buzzer_never_sounds_at_night_nor_in_the_morning_for_the_night() -> None:
    rule = BuzzerRule(is_enabled=True)
    assert not rule.should_sound(begun(LIVING, "a", 30.0), is_night=True)
    assert not rule.should_sound(begun(LIVING, "a", 90.0), is_night=False)


def test_the_buzzer_respects_an_acknowledgement_and_stale_openings() -> None:
    rule = BuzzerRule(is_enabled=True)
    assert not rule.should_sound(replace(begun(LIVING, "a", 30.0), is_acknowledged=True), is_night=False)
    assert not rule.should_sound(begun(LIVING, "b", FRESH_S + 1.0), is_night=False)
    assert not rule.should_sound(replace(begun(LIVING, "c", 30.0), state=State.BLIND), is_night=False)


def test_the_buzzer_pin_is_silent_until_it_sounds(factory: MockFactory) -> None:
    buzzer = open_buzzer(BUZZER, factory=factory)
    pin = factory.pin(BUZZER)
    assert not pin.state
    buzzer.sound()
    buzzer._buzzer._blink_thread.join(5.0)
    assert [bool(entry.state) for entry in pin.states] == [False, True, False, True, False]
    buzzer.close()
