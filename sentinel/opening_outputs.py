"""Opens the outputs that the configuration asks for, and loads no library for those that it does not."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from sentinel.config import Config
from sentinel.forecast import diary_path
from sentinel.identity import node_id
from sentinel.output import Output
from sentinel.picture_output import PictureOutput
from sentinel.requests import Requests

if TYPE_CHECKING:
    from sentinel.broker_output import BrokerOutput
    from sentinel.neighbours_output import NeighboursOutput

Errand = Callable[[float], None]
"""Something to do in the main loop, at a monotonic time."""


@dataclass(slots=True)
class Opened:
    """All outputs, those that take the news of all bands and not of the main one alone, and two by name."""

    outputs: list[Output] = field(default_factory=list)
    of_all_bands: list[Output] = field(default_factory=list)
    broker: "BrokerOutput | None" = None
    neighbours: "NeighboursOutput | None" = None


def open_outputs(
    opened: Opened,
    config: Config,
    state_dir: Path,
    requests: Requests,
    run_in_loop: Callable[[Errand], None],
) -> None:
    """Open them one by one into ``opened``. Raises ConfigError for one that can never work."""
    if config.mqtt is not None:
        from sentinel.broker_output import BrokerOutput

        opened.broker = BrokerOutput(config, node_id(state_dir), requests.carry_out, run_in_loop)
        opened.outputs.append(opened.broker)
        opened.of_all_bands.append(opened.broker)
    if config.neighbours is not None:
        from sentinel.neighbours_output import NeighboursOutput

        opened.neighbours = NeighboursOutput(config, node_id(state_dir))
        opened.outputs.append(opened.neighbours)
        opened.of_all_bands.append(opened.neighbours)
    opened.outputs.append(PictureOutput(config, state_dir))
    if config.panel.glass != "none":
        from sentinel.display_output import DisplayOutput, glass_opener

        opened.outputs.append(DisplayOutput(config, glass_opener(config, state_dir)))
    if config.page is not None:
        from sentinel.page_output import PageOutput

        page = PageOutput(config, diary_path(config, state_dir))
        opened.outputs.append(page)
        opened.of_all_bands.append(page)
    if config.lamps is not None or config.button is not None:
        opened.outputs += _on_pins(config, requests, run_in_loop)


def _on_pins(config: Config, requests: Requests, run_in_loop: Callable[[Errand], None]) -> list[Output]:
    from sentinel.signal_output import ButtonInput, lamps_outputs

    outputs: list[Output] = [*lamps_outputs(config)]
    if config.button is not None:
        outputs.append(
            ButtonInput(config.button, lambda action: run_in_loop(partial(requests.press, action)))
        )
    return outputs
