"""The status page as an output of the daemon: what it shows and does not make itself is handed in here."""

import ipaddress
import socket
from functools import partial
from importlib.resources import files
from io import BytesIO
from pathlib import Path

from sentinel import __version__
from sentinel.config import Config
from sentinel.output import News
from sentinel.outputs.page import PageSettings, StatusPage
from sentinel.outputs.page_guard import Visitors
from sentinel.outputs.page_view import Furnishings, Place
from sentinel.panel.fonts import Face
from sentinel.panel.map import EARTH_KM, View, coastlines
from sentinel.panel.picture import draw
from sentinel.watch.bulletin import Bulletin, Part


class PageOutput:
    """Shows every bulletin on the page. Raises ConfigError without the extra ``page``."""

    def __init__(self, config: Config, diary: Path) -> None:
        self.page = StatusPage(page_settings(config, diary), furnishings(config))
        self.page.start()

    def take(self, news: News) -> None:
        self.page.put(news.bulletin, news.is_muted)

    def parts(self) -> tuple[Part, ...]:
        return (self.page.part(),)

    def stop(self) -> None:
        self.page.stop()


def page_settings(config: Config, diary: Path) -> PageSettings:
    """Where the page listens and who may look; this computer's own name is always one of its names."""
    section = config.page
    assert section is not None, "only called with [page]"
    own = socket.gethostname().lower()
    names = {"localhost", own, f"{own}.local", *(name.lower() for name in section.names)}
    networks = tuple(ipaddress.ip_network(each) for each in section.allow)
    return PageSettings(diary, section.host, section.port, Visitors(networks, frozenset(names)))


def furnishings(config: Config) -> Furnishings:
    """Coasts, type and picture of the panel, for the page."""
    return Furnishings(
        locator=config.station.locator,
        bands=config.band.names,
        version=__version__,
        coasts=coastlines(),
        project=in_km,
        fonts={face.value: (files("sentinel.panel") / "fonts" / face.value).read_bytes() for face in Face},
        panel_png=partial(panel_png, size=config.panel.size_px, accent=config.panel.accent),
    )


def in_km(middle: Place, place: Place) -> tuple[float, float]:
    """The panel's own view of the Earth, in kilometres right of and below the middle."""
    return View(*middle, reach_km=EARTH_KM, radius=EARTH_KM).point(*place)


def panel_png(bulletin: Bulletin, size: tuple[int, int], accent: bool) -> bytes:
    """What the panel shows."""
    png = BytesIO()
    draw(bulletin, size, accent).save(png, "PNG")
    return png.getvalue()
