"""The button: what presses mean, with bounce, and on a mocked pin."""

from collections.abc import Iterator

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory
from hypothesis import given
from hypothesis import strategies as st

from sentinel.errors import RunError
from sentinel.panel.button import (
    BOUNCE_S,
    Action,
    ButtonReader,
    PressClassifier,
    action_named,
)
from sentinel.panel.gpio import open_button
from sentinel.panel.pins import BUTTON

ACKNOWLEDGE, PAGE, SHUTDOWN = Action.ACKNOWLEDGE, Action.SECOND_PAGE, Action.SHUTDOWN


def run(
    edges: list[tuple[float, bool]], until_s: float, classifier: PressClassifier | None = None
) -> list[tuple[float, Action]]:
    """Feed edges, ticking whenever the classifier asks for it; returns (time, action)."""
    classifier = classifier or PressClassifier()
    said: list[tuple[float, Action]] = []
    for at_s, is_pressed in [*edges, (until_s, None)]:
        while classifier.due_s is not None and classifier.due_s <= at_s:
            due_s = classifier.due_s
            actions = classifier.tick(due_s + 1e-9)
            said += [(round(due_s, 3), action) for action in actions]
        if is_pressed is not None:
            said += [(round(at_s, 3), action) for action in classifier.edge(is_pressed, at_s)]
    return said


def press(from_s: float, for_s: float) -> list[tuple[float, bool]]:
    return [(from_s, True), (from_s + for_s, False)]


def test_a_short_press_acknowledges_when_it_is_released() -> None:
    assert run(press(10.0, 0.4), 20.0) == [(10.4 + BOUNCE_S, ACKNOWLEDGE)]


def test_held_three_seconds_shows_the_second_page_while_still_held() -> None:
    assert run(press(10.0, 4.0), 20.0) == [(13.0, PAGE)]


def test_held_eight_seconds_asks_for_a_shutdown() -> None:
    assert run(press(10.0, 9.0), 30.0) == [(13.0, PAGE), (18.0, SHUTDOWN)]


def test_where_no_shutdown_is_allowed_none_is_asked_for() -> None:
    assert run(press(10.0, 60.0), 90.0, PressClassifier(may_shut_down=False)) == [(13.0, PAGE)]


@pytest.mark.parametrize(
    ("for_s", "expected"),
    [(2.99, [ACKNOWLEDGE]), (3.01, [PAGE]), (7.99, [PAGE]), (8.01, [PAGE, SHUTDOWN])],
)
def test_the_limits_are_where_they_are_said_to_be(for_s: float, expected: list[Action]) -> None:
    assert [action for _, action in run(press(1.0, for_s), 60.0)] == expected


def test_a_bouncing_contact_is_one_press() -> None:
    bounce = [(1.0, True), (1.004, False), (1.006, True), (1.013, False), (1.015, True)]
    release = [(1.5, False), (1.507, True), (1.509, False)]
    assert run([*bounce, *release], 10.0) == [(1.539, ACKNOWLEDGE)]


def test_a_spike_is_no_press() -> None:
    assert run([(1.0, True), (1.01, False)], 10.0) == []


def test_a_button_that_was_down_at_the_start_does_nothing_until_released() -> None:
    held = PressClassifier(is_pressed=True)
    assert run([(20.0, False), *press(30.0, 0.2)], 60.0, held) == [(30.23, ACKNOWLEDGE)]


def test_a_stuck_button_acts_once() -> None:
    assert run([(1.0, True)], 1e6) == [(4.0, PAGE), (9.0, SHUTDOWN)]


def test_a_long_press_seen_only_afterwards_counts_in_full() -> None:
    classifier = PressClassifier()
    classifier.edge(True, 1.0)
    assert classifier.edge(False, 10.0) == [PAGE, SHUTDOWN]
    assert classifier.tick(11.0) == []


@given(st.lists(st.tuples(st.floats(0.1, 30.0), st.floats(0.1, 30.0)), max_size=20))
def test_every_clean_press_means_one_thing(presses: list[tuple[float, float]]) -> None:
    edges: list[tuple[float, bool]] = []
    expected: list[Action] = []
    now_s = 0.0
    for gap_s, for_s in presses:
        edges += press(now_s + gap_s, for_s)
        now_s += gap_s + for_s
        held_s = edges[-1][0] - edges[-2][0]
        expected += [PAGE] if held_s >= 3.0 else [ACKNOWLEDGE]
        expected += [SHUTDOWN] if held_s >= 8.0 else []
    assert [action for _, action in run(edges, now_s + 60.0)] == expected


def test_commands_over_mqtt_have_the_actions_names() -> None:
    assert [action_named(action.value) for action in Action] == list(Action)
    assert action_named("reboot") is None and action_named("") is None


@pytest.fixture
def factory() -> Iterator[MockFactory]:
    before = Device.pin_factory
    made = MockFactory()
    yield made
    made.reset()
    Device.pin_factory = before


def test_the_pin_is_pulled_up_and_a_press_is_low(factory: MockFactory) -> None:
    button = open_button(BUTTON, factory=factory)
    pin = factory.pin(BUTTON)
    assert pin.pull == "up" and not button.is_pressed
    seen: list[bool] = []
    button.listen(seen.append)
    pin.drive_low()
    assert button.is_pressed
    pin.drive_high()
    assert seen == [True, False]
    button.close()


def test_presses_on_the_pin_become_actions(factory: MockFactory) -> None:
    now_s = 0.0
    said: list[Action] = []
    button = open_button(BUTTON, factory=factory)
    reader = ButtonReader(PressClassifier(button.is_pressed), said.append, lambda: now_s)
    button.listen(reader.report)
    pin = factory.pin(BUTTON)
    pin.drive_low()
    assert reader.step()
    now_s = 3.5
    assert reader.step()
    pin.drive_high()
    now_s = 5.0
    assert reader.step() and reader.step()
    pin.drive_low()
    now_s = 5.5
    pin.drive_high()
    now_s = 6.0
    assert reader.step() and reader.step() and reader.step()
    reader.end()
    assert not reader.step()
    assert said == [PAGE, ACKNOWLEDGE]
    button.close()


def test_a_pin_in_use_is_named(factory: MockFactory) -> None:
    button = open_button(BUTTON, factory=factory)
    with pytest.raises(RunError, match=r"button cannot use GPIO 26: .*already in use"):
        open_button(BUTTON, factory=factory)
    button.close()
