"""The panel: its picture as a file, and the glass that shows it, each written by a thread of its own."""

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
from sentinel.panel.picture import draw
from sentinel.watch.bulletin import Bulletin, Part
from sentinel.worker import LatestWorker

FAREWELL_PATIENCE_S = 10.0
"""A full refresh takes 2 to 4 s; with a third colour 15 to 20 s, more than a shutdown should wait."""

log = logging.getLogger("sentinel.panel")


class PictureOutput:
    """Writes the panel's picture when the state changes, whole or not at all."""

    def __init__(self, config: Config, state_dir: Path) -> None:
        self.path = picture_path(config, state_dir)
        self._size, self._accent = config.panel.size_px, config.panel.accent
        self._worker: LatestWorker[Bulletin] = LatestWorker("picture", self._write)

    def take(self, news: News) -> None:
        if news.has_changed:
            self._worker.put(news.bulletin)

    def parts(self) -> tuple[Part, ...]:
        return (self._worker.part(),)

    def stop(self) -> None:
        self._worker.stop()

    def _write(self, bulletin: Bulletin) -> None:
        partial = self.path.with_name(f".{self.path.name}.new")
        draw(bulletin, self._size, self._accent).save(partial, "PNG")
        partial.replace(self.path)


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


def picture_path(config: Config, state_dir: Path) -> Path:
    """Where the picture is written."""
    given = config.panel.picture
    return state_dir / "panel.png" if given is None else config.resolve(given)


def glass_opener(config: Config, state_dir: Path) -> Callable[[], Glass] | None:
    """What opens the configured glass, again after every failure; None without glass."""
    panel = config.panel
    if panel.glass == "none":
        return None
    if panel.glass == "simulated":
        png = picture_path(config, state_dir).with_name("glass.png")
        return lambda: _simulated(panel.size_px, panel.accent, panel.upside_down, png)
    return lambda: _on_wires(config)


def _simulated(size: tuple[int, int], accent: bool, is_upside_down: bool, png: Path) -> Glass:
    from sentinel.panel.simulated_glass import SimulatedGlass

    return SimulatedGlass(size, accent, is_upside_down, png)


def _on_wires(config: Config) -> Glass:
    from sentinel.panel.gpio import open_spi_bus
    from sentinel.panel.pins import DisplayPins
    from sentinel.panel.ssd1683 import glass_on

    panel = config.panel
    pins = DisplayPins(**panel.pins.model_dump())
    return glass_on(open_spi_bus(pins), panel.size_px, panel.accent, panel.upside_down)
