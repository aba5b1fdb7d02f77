"""What people ask of the watch, by the button or over MQTT, carried out in the main loop."""

import logging
import subprocess
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from sentinel.config import Config
from sentinel.panel.button import Action
from sentinel.telling import Telling

if TYPE_CHECKING:
    from sentinel.outputs.mqtt_commands import Command

log = logging.getLogger("sentinel")


class Requests:
    """Carries out presses and commands; a command gets an answer. ``tellings`` are all bands', the main one
    first: that one is shown."""

    def __init__(self, config: Config, tellings: Mapping[str, Telling]) -> None:
        self._shutdown_command = config.button.shutdown_command if config.button is not None else ()
        self._tellings = tellings

    def press(self, action: Action, now_s: float) -> None:
        """The button asks for something; ``now_s`` is monotonic."""
        if action is Action.ACKNOWLEDGE:
            log.info("button: %s", self._acknowledge(None)[1])
        elif action is Action.SECOND_PAGE:
            self._main.turn_page(now_s)
        elif self._shutdown_command:
            _run_detached(self._shutdown_command)

    def carry_out(self, command: "Command") -> tuple[bool, str]:
        """Whether the command was carried out, and one sentence about it."""
        if command.name.value == "mute":
            answers = [telling.mute(command.minutes) for telling in self._tellings.values()]
            return True, answers[0]
        if command.name.value == "unmute":
            answers = [telling.unmute() for telling in self._tellings.values()]
            return True, answers[0]
        return self._acknowledge(command.band)

    @property
    def _main(self) -> Telling:
        return next(iter(self._tellings.values()))

    def _acknowledge(self, band: str | None) -> tuple[bool, str]:
        """One band, or all of them; the first in which there is something to acknowledge answers."""
        if band is not None and band not in self._tellings:
            return False, f"This node does not watch {band}."
        asked = self._tellings.values() if band is None else [self._tellings[band]]
        answers = [telling.acknowledge() for telling in asked]
        return next((answer for answer in answers if answer[0]), answers[0])


def _run_detached(command: Sequence[str]) -> None:
    """Start a command of the configuration and leave it to itself."""
    try:
        subprocess.Popen(command, stdin=subprocess.DEVNULL, start_new_session=True)
    except (OSError, ValueError) as error:
        log.error("[button] shutdown_command cannot be started: %s", error)
