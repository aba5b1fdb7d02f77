"""The compass rose: where the signals come from, north up, readable from across the room.

A ring with a tick at each of the eight points, broken by an N, the station as a dot in the middle, and one
wedge for each live heading, as wide as the heading spreads. A wedge is solid while the band is open and
hollow while it only stirs, so that a doubtful direction never looks like a sure one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians, sin

from PIL import ImageDraw

from sentinel.panel.fonts import Face, cap_height, font, ink_span
from sentinel.panel.sheet import Box, Item
from sentinel.watch.bulletin import Heading

NARROWEST_DEG, WIDEST_DEG = 11.0, 24.0  # half widths: thinner cannot be seen at 3 m, wider says nothing


@dataclass(frozen=True, slots=True)
class RoseInk:
    """The inks of a rose: its lines, the paper under it, its wedges, and whether wedges are filled."""

    line: int
    paper: int
    wedge: int
    is_solid: bool


def half_width_deg(spread_deg: float) -> float:
    """Half the drawn width of a wedge: the spread, kept between what can be seen and what still points."""
    return min(WIDEST_DEG, max(NARROWEST_DEG, spread_deg))


def on_ring(centre: tuple[float, float], radius: float, bearing_deg: float) -> tuple[float, float]:
    """The pixel at a bearing (0 up, 90 right) and a radius from the centre."""
    angle = radians(bearing_deg)
    return centre[0] + radius * sin(angle), centre[1] - radius * cos(angle)


def rose_item(name: str, box: Box, headings: Sequence[Heading], ink: RoseInk) -> Item:
    """A rose that fills the box: the ring, and the N that stands on it."""
    letter_px = 13 if box.width < 100 else 18

    def paint(draw: ImageDraw.ImageDraw, at: Box) -> None:
        above = cap_height(Face.BOLD, letter_px) // 2
        radius = min((at.width - 1) // 2, (at.height - 1 - above) // 2)
        centre = at.x + at.width // 2, at.bottom - 1 - radius
        _paint_ring(draw, centre, radius, ink)
        for heading in sorted(headings, key=lambda h: h.stations):
            _paint_wedge(draw, centre, radius, heading, ink)
        hub = max(2, radius // 12)
        disc(draw, centre, hub + 2, ink.paper, ink.paper)
        disc(draw, centre, hub, ink.line, ink.line)
        paint_north(draw, (centre[0], centre[1] - radius), letter_px, ink)

    return Item(name, box, paint)


def paint_north(draw: ImageDraw.ImageDraw, middle: tuple[int, int], size_px: int, ink: RoseInk) -> None:
    """The N, on a piece of paper that breaks the ring and whatever points there."""
    left, right = ink_span("N", Face.BOLD, size_px)
    rise = cap_height(Face.BOLD, size_px)
    x, top = middle[0] - (right - left) // 2, middle[1] - rise // 2
    draw.rectangle((x - 2, top, x + right - left + 1, top + rise), fill=ink.paper)
    draw.text((x - left, top + rise), "N", font=font(Face.BOLD, size_px), fill=ink.line, anchor="ls")


def _paint_ring(draw: ImageDraw.ImageDraw, centre: tuple[int, int], radius: int, ink: RoseInk) -> None:
    disc(draw, centre, radius, ink.paper, ink.line, 2 if radius > 24 else 1)
    for bearing_deg in range(0, 360, 45):
        length = radius // 5 if bearing_deg % 90 == 0 else radius // 10
        draw.line(
            [on_ring(centre, radius - length, bearing_deg), on_ring(centre, radius - 1, bearing_deg)],
            fill=ink.line,
            width=2 if bearing_deg % 90 == 0 else 1,
        )


def _paint_wedge(
    draw: ImageDraw.ImageDraw, centre: tuple[int, int], radius: int, heading: Heading, ink: RoseInk
) -> None:
    half = half_width_deg(heading.spread_deg)
    start, end = heading.bearing_deg - 90 - half, heading.bearing_deg - 90 + half
    corners = (centre[0] - radius, centre[1] - radius, centre[0] + radius, centre[1] + radius)
    if ink.is_solid:
        draw.pieslice(corners, start, end, fill=ink.wedge, outline=ink.paper)
        draw.arc(corners, start, end, fill=ink.wedge, width=4)
    else:
        draw.pieslice(corners, start, end, fill=ink.paper, outline=ink.wedge, width=2)


def disc(
    draw: ImageDraw.ImageDraw, centre: tuple[int, int], radius: int, fill: int, outline: int, width: int = 1
) -> None:
    x, y = centre
    draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=fill, outline=outline, width=width)
