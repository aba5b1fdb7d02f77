"""Lamps, buzzer and button: what is on the pins beside the display.

Off a Raspberry Pi, or with a pin taken, each is a part that is not well, with a note that says what to mend.
"""

import logging
import threading
import time
from collections.abc import Callable

from sentinel.config import Config
from sentinel.config_hardware import ButtonSection, LampsSection
from sentinel.errors import RunError
from sentinel.night import night_rule
from sentinel.output import News
from sentinel.panel.button import Action, ButtonReader, PressClassifier
from sentinel.panel.buzzer import BuzzerRule
from sentinel.panel.gpio import PinButton, PinBuzzer, open_button, open_buzzer, open_lamps
from sentinel.panel.lamps import Arrangement, LampPlayer, LampRow, Signal
from sentinel.watch.bulletin import Part

STOP_PATIENCE_S = 2.0

log = logging.getLogger("sentinel.signals")


class LampsOutput:
    """Plays the state on the lamps."""

    def __init__(self, config: Config, section: LampsSection, open_row: Callable[[], LampRow]) -> None:
        self._section = section
        self._night = night_rule(config, section.night)
        self._player: LampPlayer | None = None
        self._note = ""
        try:
            row = open_row()
        except RunError as error:
            self._note = str(error)
            log.error("going on without lamps: %s", error)
            return
        arrangement = Arrangement(section.arrangement)
        self._player = LampPlayer(row, arrangement, len(section.lamp_pins), time.monotonic)
        self._thread = threading.Thread(target=self._player.run, name="lamps", daemon=True)
        self._thread.start()

    def take(self, news: News) -> None:
        if self._player is None:
            return
        is_night = self._night.is_night(time.time())
        brightness = self._section.night_brightness if is_night else self._section.brightness
        calm = news.is_muted or news.bulletin.is_acknowledged
        self._player.show(Signal(news.bulletin.state, brightness, calm))

    def parts(self) -> tuple[Part, ...]:
        is_well = self._player is not None and self._thread.is_alive()
        return (Part("lamps", is_well, self._note or ("" if is_well else "their thread has ended")),)

    def stop(self) -> None:
        if self._player is not None:
            self._player.end()
            self._thread.join(STOP_PATIENCE_S)


class BuzzerOutput:
    """Sounds when an opening begins, unless it is night, muted or acknowledged."""

    def __init__(self, config: Config, section: LampsSection, open_pin: Callable[[], PinBuzzer]) -> None:
        self._night = night_rule(config, section.night)
        self._rule = BuzzerRule(is_enabled=True)
        self._buzzer: PinBuzzer | None = None
        self._note = ""
        try:
            self._buzzer = open_pin()
        except RunError as error:
            self._note = str(error)
            log.error("going on without the buzzer: %s", error)

    def take(self, news: News) -> None:
        is_silent = news.is_muted or self._night.is_night(time.time())
        if self._rule.should_sound(news.bulletin, is_silent) and self._buzzer is not None:
            self._buzzer.sound()

    def parts(self) -> tuple[Part, ...]:
        return (Part("buzzer", self._buzzer is not None, self._note),)

    def stop(self) -> None:
        if self._buzzer is not None:
            self._buzzer.close()


class ButtonInput:
    """Turns presses into actions, which are handed to ``on_action`` in a thread of its own."""

    def __init__(
        self,
        section: ButtonSection,
        on_action: Callable[[Action], None],
        open_pin: Callable[[int], PinButton] = open_button,
    ) -> None:
        self._note = ""
        self._reader: ButtonReader | None = None
        try:
            self._button = open_pin(section.pin)
        except RunError as error:
            self._note = str(error)
            log.error("going on without the button: %s", error)
            return
        classifier = PressClassifier(self._button.is_pressed, bool(section.shutdown_command))
        self._reader = ButtonReader(classifier, on_action, time.monotonic)
        self._button.listen(self._reader.report)
        self._thread = threading.Thread(target=self._reader.run, name="button", daemon=True)
        self._thread.start()

    def take(self, news: News) -> None:
        """A button shows nothing."""

    def parts(self) -> tuple[Part, ...]:
        return (Part("button", self._reader is not None, self._note),)

    def stop(self) -> None:
        if self._reader is not None:
            self._reader.end()
            self._thread.join(STOP_PATIENCE_S)
            self._button.close()


def lamps_outputs(config: Config) -> list[LampsOutput | BuzzerOutput]:
    """What [lamps] asks for."""
    section = config.lamps
    if section is None:
        return []
    outputs: list[LampsOutput | BuzzerOutput] = []
    if section.arrangement != "none":
        pins, is_high = section.lamp_pins, section.active_high
        outputs.append(LampsOutput(config, section, lambda: open_lamps(pins, is_high)))
    if section.buzzer:
        outputs.append(BuzzerOutput(config, section, lambda: open_buzzer(section.buzzer_pin)))
    return outputs
