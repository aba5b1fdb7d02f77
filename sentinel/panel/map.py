"""The great-circle map: the azimuthal equidistant view centred on the station.

On it every straight line from the middle is a great circle: directions are true and distances from the
station are to scale. The formulas are the spherical ones (J. P. Snyder, Map Projections: A Working Manual,
USGS Professional Paper 1395, 1987, chapter 25, from memory; checked against PROJ). The sphere errs by far
less than a pixel.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import pairwise
from math import acos, cos, hypot, pi, radians, sin, sqrt

from PIL import ImageDraw

from sentinel.panel.fonts import Face, font
from sentinel.panel.rose import RoseInk, disc, half_width_deg, on_ring, paint_north
from sentinel.panel.sheet import Box, Item
from sentinel.watch.bulletin import Heading

EARTH_KM = 6371.009  # mean radius (IUGG)
REACHES_KM = (3000, 6000, 12000, 20015)  # distance at the rim; the last shows the whole Earth

RIM_PX = 6  # how far the headings and the N stand out of the map's circle

Place = tuple[float, float]
Pixel = tuple[float, float]


@dataclass(frozen=True, slots=True)
class View:
    """A map's middle (degrees north and east), the distance at its rim and its radius in pixels."""

    lat_deg: float
    lon_deg: float
    reach_km: float
    radius: float

    def point(self, lat_deg: float, lon_deg: float) -> Pixel:
        """Pixels right of and below the middle; the antipode has every direction and gets one of them."""
        lat, lat0, east = radians(lat_deg), radians(self.lat_deg), radians(lon_deg - self.lon_deg)
        x = cos(lat) * sin(east)
        y = cos(lat0) * sin(lat) - sin(lat0) * cos(lat) * cos(east)
        z = sin(lat0) * sin(lat) + cos(lat0) * cos(lat) * cos(east)
        arc = acos(max(-1.0, min(1.0, z)))
        away = hypot(x, y)
        if away == 0.0:
            return 0.0, (0.0 if z > 0 else -self._pixels(pi))
        scale = self._pixels(arc) / away
        return x * scale, -y * scale

    def _pixels(self, arc: float) -> float:
        return arc * EARTH_KM / self.reach_km * self.radius


def reach_for(farthest_km: float) -> int:
    """The smallest rim that shows a distance with a little room beyond it."""
    return next((reach for reach in REACHES_KM if farthest_km <= 0.95 * reach), REACHES_KM[-1])


@cache
def coastlines() -> tuple[tuple[Place, ...], ...]:
    """The coasts as lines of (latitude, longitude) in degrees."""
    text = (files("sentinel.panel") / "data" / "coastlines.json").read_text("utf-8")
    return tuple(tuple(_unpacked(line)) for line in json.loads(text)["lines"])


def _unpacked(steps: Sequence[int]) -> Iterator[Place]:
    lon = lat = 0
    for right, up in zip(steps[::2], steps[1::2], strict=True):
        lon, lat = lon + right, lat + up
        yield lat / 10.0, lon / 10.0


def clipped(a: Pixel, b: Pixel, radius: float) -> tuple[Pixel, Pixel] | None:
    """The part of a segment inside the circle about the origin, or None."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    length2 = dx * dx + dy * dy
    if length2 == 0.0:
        return None
    middle = -(a[0] * dx + a[1] * dy) / length2
    nearest2 = (a[0] + middle * dx) ** 2 + (a[1] + middle * dy) ** 2
    if nearest2 >= radius * radius:
        return None
    half = sqrt((radius * radius - nearest2) / length2)
    start, end = max(0.0, middle - half), min(1.0, middle + half)
    if start >= end:
        return None
    return (a[0] + start * dx, a[1] + start * dy), (a[0] + end * dx, a[1] + end * dy)


def map_item(
    name: str,
    box: Box,
    middle: Place,
    headings: Sequence[Heading],
    stations: Sequence[Place],
    reflections: Sequence[Place],
    ink: RoseInk,
) -> Item:
    """The map in the box: coasts, stations as squares, reflection points as crosses, headings on the rim."""
    farthest = max((heading.farthest_km for heading in headings), default=REACHES_KM[1] * 0.9)
    reach_km = reach_for(farthest)

    def paint(draw: ImageDraw.ImageDraw, at: Box) -> None:
        radius = (min(at.width, at.height) - 1) // 2 - RIM_PX
        centre = at.x + at.width // 2, at.bottom - 1 - RIM_PX - radius
        view = View(*middle, reach_km, radius)
        disc(draw, centre, radius, ink.paper, ink.line, 2)
        _paint_coasts(draw, centre, view, ink.line)
        for heading in headings:
            _paint_bearing(draw, centre, radius, heading, ink)
        for lat_deg, lon_deg in reflections:
            _paint_cross(draw, centre, view, (lat_deg, lon_deg), ink)
        for place in stations:
            _paint_station(draw, centre, view, place, ink)
        disc(draw, centre, 5, ink.paper, ink.line, 2)
        disc(draw, centre, 1, ink.line, ink.line)
        paint_north(draw, (centre[0], centre[1] - radius), 18, ink)
        small = font(Face.REGULAR, 11)
        draw.text((at.x, at.bottom - 1), f"{reach_km} km", font=small, fill=ink.line, anchor="ls")

    return Item(name, box, paint)


def _paint_coasts(draw: ImageDraw.ImageDraw, centre: tuple[int, int], view: View, ink: int) -> None:
    for line in coastlines():
        points = [view.point(*place) for place in line]
        for a, b in pairwise(points):
            inside = clipped(a, b, view.radius - 2)
            if inside and hypot(a[0] - b[0], a[1] - b[1]) < view.radius:
                draw.line([(centre[0] + x, centre[1] + y) for x, y in inside], fill=ink)


def _paint_bearing(
    draw: ImageDraw.ImageDraw, centre: tuple[int, int], radius: int, heading: Heading, ink: RoseInk
) -> None:
    """A heavy piece of the rim, as wide as the heading spreads, and a line to it."""
    half = half_width_deg(heading.spread_deg)
    start, end = heading.bearing_deg - 90 - half, heading.bearing_deg - 90 + half
    outer = radius + RIM_PX
    corners = (centre[0] - outer, centre[1] - outer, centre[0] + outer, centre[1] + outer)
    draw.arc(corners, start, end, fill=ink.wedge, width=12)
    if not ink.is_solid:
        inner = tuple(value + shift for value, shift in zip(corners, (3, 3, -3, -3), strict=True))
        draw.arc(inner, start + 2, end - 2, fill=ink.paper, width=6)
    line = [on_ring(centre, 8, heading.bearing_deg), on_ring(centre, radius, heading.bearing_deg)]
    draw.line(line, fill=ink.wedge, width=3 if ink.is_solid else 1)


def _paint_station(
    draw: ImageDraw.ImageDraw, centre: tuple[int, int], view: View, place: Place, ink: RoseInk
) -> None:
    at = _inside(centre, view, place)
    if at is not None:
        x, y = at
        draw.rectangle((x - 3, y - 3, x + 3, y + 3), fill=ink.paper)
        draw.rectangle((x - 2, y - 2, x + 2, y + 2), fill=ink.wedge)


def _paint_cross(
    draw: ImageDraw.ImageDraw, centre: tuple[int, int], view: View, place: Place, ink: RoseInk
) -> None:
    at = _inside(centre, view, place)
    if at is not None:
        x, y = at
        draw.ellipse((x - 4, y - 4, x + 4, y + 4), fill=ink.paper)
        draw.line((x - 3, y - 3, x + 3, y + 3), fill=ink.line)
        draw.line((x - 3, y + 3, x + 3, y - 3), fill=ink.line)


def _inside(centre: tuple[int, int], view: View, place: Place) -> tuple[int, int] | None:
    x, y = view.point(*place)
    if hypot(x, y) > view.radius - 4:
        return None
    return round(centre[0] + x), round(centre[1] + y)
