"""What people ask of the watch, by the button or over MQTT, carried out in the main loop."""

import logging
import subprocess
from collections.abc import Sequence
from typing import TYPE_CHECKING

from sentinel.config import Config
from sentinel.panel.button import Action
from sentinel.telling import Telling

if TYPE_CHECKING:
    from sentinel.outputs.mqtt_commands import Command

log = logging.getLogger("sentinel")


class Requests:
    """Carries out presses and commands; a command gets an answer."""

    def __init__(self, config: Config, telling: Telling) -> None:
        self._band = config.band.name
        self._shutdown_command = config.button.shutdown_command if config.button is not None else ()
        self._telling = telling

    def press(self, action: Action, now_s: float) -> None:
        """The button asks for something; ``now_s`` is monotonic."""
        if action is Action.ACKNOWLEDGE:
            log.info("button: %s", self._telling.acknowledge()[1])
        elif action is Action.SECOND_PAGE:
            self._telling.turn_page(now_s)
        elif self._shutdown_command:
            _run_detached(self._shutdown_command)

    def carry_out(self, command: "Command") -> tuple[bool, str]:
        """Whether the command was carried out, and one sentence about it."""
        if command.name.value == "mute":
            return True, self._telling.mute(command.minutes)
        if command.name.value == "unmute":
            return True, self._telling.unmute()
        if command.band not in (None, self._band):
            return False, f"This node does not watch {command.band}."
        return self._telling.acknowledge()


def _run_detached(command: Sequence[str]) -> None:
    """Start a command of the configuration and leave it to itself."""
    try:
        subprocess.Popen(command, stdin=subprocess.DEVNULL, start_new_session=True)
    except (OSError, ValueError) as error:
        log.error("[button] shutdown_command cannot be started: %s", error)
