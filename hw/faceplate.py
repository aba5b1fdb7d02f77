"""Draws a faceplate for each display, to be printed 1:1 as a drilling and cutting template or as a label.

Sizes of the glass in millimetres from vendors' data sheets, from memory: measure yours before you cut.
"""

from dataclasses import dataclass
from math import cos, radians, sin

import svg

CLEARANCE = 0.5  # of the window round the picture
MARGIN = 12.0
SCREW, SCREW_INSET = 3.2, 5.0  # for M3, and its distance from both edges
LED, BUTTON = 5.1, 12.2  # for 5 mm LEDs, and for a 12 mm panel button
FOOT = 50.0  # below the window: lamps, button, legend


@dataclass(frozen=True, slots=True)
class Glass:
    """A display: its name, pixels and the size of its picture."""

    name: str
    pixels: tuple[int, int]
    picture: tuple[float, float]


GLASSES = (
    Glass("2.13 inch", (250, 122), (48.55, 23.7)),
    Glass("2.9 inch", (296, 128), (66.9, 29.06)),
    Glass("4.2 inch", (400, 300), (84.8, 63.6)),
)

# what the plate explains: the state, how far the arm is raised (None: crossed out), the lamps' rhythm
LEGEND = (
    ("QUIET", 0, "a wink every 10 s"),
    ("STIRRING", 45, "two flashes, pause"),
    ("OPEN", 90, "lit, short gaps"),
    ("BLIND", None, "long, short, pause"),
)


@dataclass(frozen=True, slots=True)
class Plate:
    """Where everything lies on a faceplate, in millimetres from its top left corner."""

    glass: Glass

    @property
    def size(self) -> tuple[float, float]:
        width, height = self.glass.picture
        return max(104.0, width + 2 * MARGIN), height + MARGIN + FOOT

    @property
    def window(self) -> tuple[float, float, float, float]:
        """Left, top, width and height."""
        width, height = (side + 2 * CLEARANCE for side in self.glass.picture)
        return (self.size[0] - width) / 2, MARGIN - CLEARANCE, width, height

    @property
    def holes(self) -> list[tuple[float, float, float, str]]:
        """Centre, diameter and purpose of every hole."""
        width, height = self.size
        inset = SCREW_INSET
        corners = [(x, y) for x in (inset, width - inset) for y in (inset, height - inset)]
        screws = [(x, y, SCREW, "screw") for x, y in corners]
        row = MARGIN + self.glass.picture[1] + 10.5
        lamps = [(width / 2 - 24 + 12 * n, row, LED, f"lamp {n + 1}") for n in range(3)]
        return [*screws, *lamps, (width / 2 + 26, row, BUTTON, "button")]


def faceplate_svg(glass: Glass) -> str:
    plate = Plate(glass)
    width, height = plate.size
    left, top, window_width, window_height = plate.window
    parts = [
        svg.rect(0.2, 0.2, width - 0.4, height - 0.4, fill="#fff", round_=3),
        svg.text(width / 2, 7.4, "SENTINEL", 4.4, "middle", "bold"),
        svg.rect(left, top, window_width, window_height, round_=0.5),
        *[_hole(*hole) for hole in plate.holes],
        *_legend(width, height),
        *_ruler(width, height),
    ]
    return svg.drawing(width, height, f"Faceplate for the {glass.name} display, 1:1", parts)


def _hole(x: float, y: float, diameter: float, purpose: str) -> str:
    cross = svg.line(x - 1, y, x + 1, y, width=0.15) + svg.line(x, y - 1, x, y + 1, width=0.15)
    name = "" if purpose == "screw" else svg.text(x, y + diameter / 2 + 3, purpose, 2.2, "middle")
    return svg.circle(x, y, diameter / 2) + cross + name


def _legend(width: float, height: float) -> list[str]:
    """The key to arm and lamp, printed where the operator stands before it."""
    parts: list[str] = []
    for place, (name, raised_deg, rhythm) in enumerate(LEGEND):
        x = width / 2 - 38 + place % 2 * 44
        y = height - 24 + place // 2 * 10.5
        parts += _arm(x, y, raised_deg)
        parts.append(svg.text(x + 8, y - 0.4, name, 3, weight="bold"))
        parts.append(svg.text(x + 8, y + 3, rhythm, 2.4))
    return parts


def _arm(x: float, y: float, raised_deg: float | None) -> list[str]:
    post = svg.line(x, y, x, y + 4, width=0.7)
    if raised_deg is None:
        ends = [(3 * cos(radians(a)), 3 * sin(radians(a))) for a in (45, 135)]
        return [post, *[svg.line(x - dx, y - dy, x + dx, y + dy, width=1.2) for dx, dy in ends]]
    dx, dy = 5 * cos(radians(raised_deg)), -5 * sin(radians(raised_deg))
    return [post, svg.line(x, y, x + dx, y + dy, width=1.5), svg.circle(x, y, 0.9, fill="#000")]


def _ruler(width: float, height: float) -> list[str]:
    """A bar to hold a ruler against."""
    left, y = (width - 50) / 2, height - 4
    parts = [svg.line(left, y, left + 50, y, width=0.3)]
    parts += [svg.line(left + mm, y - 1, left + mm, y, width=0.2) for mm in range(0, 51, 10)]
    return [*parts, svg.text(width / 2, y - 1.4, "50 mm when printed 1:1", 2, "middle")]
