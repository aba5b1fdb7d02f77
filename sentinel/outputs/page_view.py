"""What the page shows of a bulletin, as JSON: pure, and nothing in it that the bulletin does not say.

It is the published bulletin with the states of other bands, where to listen, and with two additions for the
map: the stations in full, and the reflection points where they lie around the station, in kilometres to the
right (east) and down (south) on the page.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sentinel.outputs import wire
from sentinel.outputs.hygiene import clean_call
from sentinel.outputs.page_mailbox import Told
from sentinel.outputs.values import JsonObject, iso_z
from sentinel.trade.locator import center_of, is_locator
from sentinel.watch.advice import advise, in_words
from sentinel.watch.bulletin import Bulletin, State

Place = tuple[float, float]
"""Latitude and longitude, degrees north and east."""
Project = Callable[[Place, Place], tuple[float, float]]
"""From the middle of the map and a place to kilometres right of and below the middle."""

MOST_STATIONS = 120
"""More than a table is read; the newest are kept and the rest are counted."""
MOST_REFLECTIONS = 80
"""More crosses than that are one blot on a phone."""
LONGEST_STEP_KM = 5000.0
"""A piece of coast longer than that is torn apart by the rim: around the antipode every direction is near."""


@dataclass(frozen=True, slots=True)
class Furnishings:
    """What the page shows and does not make itself. ``fonts`` are files by name; ``project`` is the map's
    view, in kilometres; ``panel_png`` draws the panel as a PNG, or is None where there is no panel."""

    locator: str
    bands: tuple[str, ...]
    version: str
    coasts: Sequence[Sequence[Place]]
    project: Project
    fonts: Mapping[str, bytes] = field(default_factory=dict)
    panel_png: Callable[[Bulletin], bytes] | None = None


def bulletin_view(told: Told, boot: str, project: Project) -> JsonObject:
    """The state of one band for the page."""
    bulletin = told.bulletin
    envelope = wire.Envelope(bulletin.at_s, boot, told.number)
    view = wire.bulletin_payload(bulletin, envelope)
    heard = wire.stations_payload(bulletin, envelope, MOST_STATIONS)
    return {
        **view,
        "stations": heard["stations"],
        "omitted": heard["omitted"],
        "reflections": _reflections(bulletin, project),
        "listen": _listen(bulletin),
        "muted": told.is_muted,
        "other_bands": [{"band": each.band, "state": each.state.value} for each in bulletin.other_bands],
    }


def _listen(bulletin: Bulletin) -> str | None:
    """The best thing to try now, in a line."""
    best = next(iter(advise(bulletin)), None)
    return None if best is None else in_words(best)


def beat(told: Told | None) -> JsonObject:
    """A sign of life: the moment that the latest bulletin speaks of, and how long ago it came in."""
    if told is None:
        return {"at": None, "age_s": None}
    return {"at": iso_z(told.bulletin.at_s), "age_s": math.floor(told.age_s())}


def coast_path(locator: str, coasts: Sequence[Sequence[Place]], project: Project) -> str:
    """The coasts around a station as the data of one SVG path, in whole kilometres."""
    middle = center_of(locator)
    steps: list[str] = []
    for line in coasts:
        before: tuple[float, float] | None = None
        for place in line:
            x, y = project(middle, place)
            is_torn = before is None or math.dist(before, (x, y)) > LONGEST_STEP_KM
            steps.append(f"{'M' if is_torn else 'L'}{x:.0f} {y:.0f}")
            before = x, y
    return "".join(steps)


def _reflections(bulletin: Bulletin, project: Project) -> list[dict[str, Any]]:
    locator = bulletin.station_locator
    if bulletin.state is State.BLIND or locator is None or not is_locator(locator):
        return []
    middle = center_of(locator)
    alive = [o for o in bulletin.openings if o.ended_at_s is None]
    points = [point for opening in alive for point in opening.reflections]
    shown = []
    for point in points[:MOST_REFLECTIONS]:
        x, y = project(middle, (point.lat_deg, point.lon_deg))
        shown.append({"x_km": round(x), "y_km": round(y), "call": clean_call(point.call)})
    return shown
