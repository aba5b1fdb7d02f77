"""The glass: every bulletin is offered to it, by a thread of its own, and it takes what is due."""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from sentinel.config import Config
from sentinel.output import News
from sentinel.panel.display import Display
from sentinel.panel.farewell import farewell_picture
from sentinel.panel.glass import Glass
from sentinel.panel.pins import DisplayPins
from sentinel.panel.ssd1683 import glass_on
from sentinel.picture_output import picture_path
from sentinel.watch.bulletin import Bulletin, Part
from sentinel.worker import LatestWorker

FAREWELL_PATIENCE_S = 10.0
"""A full refresh takes 2 to 4 s; with a third colour 15 to 20 s, more than a shutdown should wait."""

log = logging.getLogger("sentinel.panel")


@dataclass(frozen=True, slots=True)
class _Shown:
    """What the glass is to show; without a bulletin its last picture, None for plain white."""

    bulletin: Bulletin | None
    page: int = 1
    farewell: Image.Image | None = None


class DisplayOutput:
    """Offers every bulletin to the glass, which takes what is due."""

    def __init__(self, config: Config, open_glass: Callable[[], Glass]) -> None:
        self._display = Display(open_glass)
        self._panel = config.panel
        self._worker: LatestWorker[_Shown] = LatestWorker("display", self._show)

    def take(self, news: News) -> None:
        self._worker.put(_Shown(news.bulletin, news.page))

    def parts(self) -> tuple[Part, ...]:
        worker = self._worker.part()
        return (self._display.health if worker.is_well is not False else worker,)

    def stop(self) -> None:
        picture = None
        if self._panel.farewell == "off":
            picture = farewell_picture(self._panel.size_px, time.time(), self._panel.accent)
        self._worker.put(_Shown(None, farewell=picture))
        if not self._worker.stop(FAREWELL_PATIENCE_S):
            log.warning("the display was still busy at the end")

    def _show(self, shown: _Shown) -> None:
        if shown.bulletin is None:
            self._display.farewell(shown.farewell)
        else:
            self._display.update(shown.bulletin, time.monotonic(), shown.page)


def glass_opener(config: Config, state_dir: Path) -> Callable[[], Glass]:
    """What opens the configured glass, again after every failure."""
    panel = config.panel
    if panel.glass == "simulated":
        png = picture_path(config, state_dir).with_name("glass.png")
        return lambda: _simulated(panel.size_px, panel.accent, panel.upside_down, png)
    return lambda: _on_wires(config)


def _simulated(size: tuple[int, int], accent: bool, is_upside_down: bool, png: Path) -> Glass:
    from sentinel.panel.simulated_glass import SimulatedGlass

    return SimulatedGlass(size, accent, is_upside_down, png)


def _on_wires(config: Config) -> Glass:
    from sentinel.panel.gpio import open_spi_bus

    panel = config.panel
    pins = DisplayPins(**panel.pins.model_dump())
    return glass_on(open_spi_bus(pins), panel.size_px, panel.accent, panel.upside_down)
