"""Lamps, buzzer and button as the daemon runs them, on pins that are not there."""

import threading
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from wire_samples import NOON_S, open_bulletin, opening

from sentinel.config import Config, parse
from sentinel.errors import RunError
from sentinel.night import night_rule
from sentinel.output import News
from sentinel.panel.button import Action
from sentinel.panel.lamps import CALM, GAMMA
from sentinel.signal_output import ButtonInput, BuzzerOutput, LampsOutput
from sentinel.watch.bulletin import Bulletin

PATIENCE_S = 20.0


def config(**lamps: Any) -> Config:
    table = {"station": {"locator": "FN84ab"}, "lamps": {"night": "none", **lamps}, "button": {}}
    return parse(table, Path("sentinel.toml"))


class Row:
    """A lamp's pin: remembers its levels, and lets a test wait for one."""

    def __init__(self) -> None:
        self.levels: list[float] = []
        self.is_closed = False
        self._changed = threading.Condition()

    def set(self, levels: Sequence[float]) -> None:
        with self._changed:
            self.levels += levels
            self._changed.notify_all()

    def close(self) -> None:
        self.is_closed = True

    def shows(self, level: float) -> bool:
        """True once the lamp has had a level."""
        with self._changed:
            return self._changed.wait_for(lambda: round(level, 4) in self.levels, PATIENCE_S)


def lamps_on(row: Row, **lamps: Any) -> LampsOutput:
    made = config(**lamps)
    assert made.lamps is not None
    return LampsOutput(made, made.lamps, lambda: row)


def news(bulletin: Bulletin, is_muted: bool = False) -> News:
    return News(bulletin, 0.0, is_muted=is_muted)


OPEN = open_bulletin()


def test_the_lamp_is_bright_for_an_opening_and_calm_once_muted_or_acknowledged() -> None:
    for quieter in (news(OPEN, is_muted=True), news(replace(OPEN, is_acknowledged=True))):
        row = Row()
        lamps = lamps_on(row, brightness=0.8)
        lamps.take(news(OPEN))
        assert row.shows(0.8**GAMMA)
        lamps.take(quieter)
        assert row.shows(CALM**GAMMA)
        assert lamps.parts()[0].is_well is True
        lamps.stop()
        assert row.is_closed


def test_the_lamp_is_dimmed_at_night() -> None:
    minute = 60 * time.localtime().tm_hour + time.localtime().tm_min
    since, until = ((minute + away) % 1440 for away in (-60, 60))
    hours = "-".join(f"{each // 60:02d}:{each % 60:02d}" for each in (since, until))
    row = Row()
    lamps = lamps_on(row, night=hours, night_brightness=0.3)
    lamps.take(news(OPEN))
    assert row.shows(0.3**GAMMA)
    lamps.stop()


def test_night_by_the_sun_is_that_of_the_station() -> None:
    rule = night_rule(config(), "sun")
    # FN84 lies 63 degrees west: the sun stands highest there at about 16:15 UTC
    assert rule.is_night(NOON_S + 16 * 3600) is True
    assert rule.is_night(NOON_S + 4 * 3600) is False
    assert night_rule(config(), "none").is_night(NOON_S) is False


class Horn:
    def __init__(self) -> None:
        self.sounded = 0

    def sound(self) -> None:
        self.sounded += 1

    def close(self) -> None:
        """Nothing to release."""


def test_the_buzzer_sounds_once_for_an_opening_and_never_while_muted() -> None:
    made = config(buzzer=True)
    assert made.lamps is not None
    horn = Horn()
    buzzer = BuzzerOutput(made, made.lamps, lambda: horn)  # type: ignore[arg-type,return-value]
    fresh = replace(OPEN, openings=(replace(opening("a"), began_at_s=NOON_S - 60),))
    buzzer.take(news(fresh))
    buzzer.take(news(fresh))
    assert horn.sounded == 1
    other = replace(OPEN, openings=(replace(opening("b"), began_at_s=NOON_S - 60),))
    buzzer.take(news(other, is_muted=True))
    buzzer.take(news(other))
    assert horn.sounded == 1


class Contact:
    """A button's pin that a test presses."""

    is_pressed = False

    def listen(self, report: Any) -> None:
        self.report = report

    def close(self) -> None:
        """Nothing to release."""


def test_a_short_press_arrives_as_an_acknowledgement() -> None:
    made, contact, arrived = config(), Contact(), threading.Event()
    actions: list[Action] = []

    def take(action: Action) -> None:
        actions.append(action)
        arrived.set()

    assert made.button is not None
    button = ButtonInput(made.button, take, lambda _pin: contact)  # type: ignore[arg-type,return-value]
    contact.report(True)
    contact.report(True)
    threading.Timer(0.05, contact.report, [False]).start()
    assert arrived.wait(PATIENCE_S)
    assert actions == [Action.ACKNOWLEDGE]
    assert button.parts()[0].is_well is True
    button.stop()


def missing(*_pin: int) -> Any:
    raise RunError("GPIO 12 is taken: name another pin")


def test_what_cannot_be_opened_is_a_part_that_says_why() -> None:
    made = config(buzzer=True)
    assert made.lamps is not None
    assert made.button is not None
    parts = [
        *LampsOutput(made, made.lamps, missing).parts(),
        *BuzzerOutput(made, made.lamps, missing).parts(),
        *ButtonInput(made.button, lambda _action: None, missing).parts(),
    ]
    assert [(part.name, part.is_well) for part in parts] == [
        ("lamps", False), ("buzzer", False), ("button", False),
    ]  # fmt: skip
    assert {part.note for part in parts} == {"GPIO 12 is taken: name another pin"}


@pytest.mark.parametrize(
    ("lamps", "pins"),
    [
        ({}, (12,)),
        ({"arrangement": "three"}, (12, 16, 20)),
        ({"arrangement": "bar", "count": 2}, (12, 16)),
        ({"arrangement": "bar", "pins": [5, 6, 7]}, (5, 6, 7)),
        ({"arrangement": "none", "buzzer": True}, ()),
    ],
)
def test_every_arrangement_has_a_pin_a_lamp(lamps: dict[str, Any], pins: tuple[int, ...]) -> None:
    section = config(**lamps).lamps
    assert section is not None
    assert section.lamp_pins == pins
