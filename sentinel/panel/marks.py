"""The small signs: the semaphore that stands for the state, and the health marks.

The semaphore is a railway's upper-quadrant arm, a shape older than any screen: level is quiet, half raised is
stirring, upright is open. A signal out of use carries a cross instead, and so does a blind watch.

A health mark has three faces: drawn plainly (well), three dots (not known or not used), and white in a filled
box (not well). No colour is needed to tell them apart.
"""

from collections.abc import Callable
from math import cos, radians, sin

from PIL import ImageDraw

from sentinel.panel.sheet import Box, Item
from sentinel.watch.bulletin import State

ARM_RAISED_DEG = {State.QUIET: 0.0, State.STIRRING: 45.0, State.OPEN: 90.0}
# how much of its square's width each shape takes, so that the word can stand close to it
SEMAPHORE_WIDTH = {State.QUIET: 0.95, State.STIRRING: 0.82, State.OPEN: 0.42, State.BLIND: 1.0}

Pen = ImageDraw.ImageDraw


def semaphore_item(name: str, box: Box, state: State, ink: int, paper: int) -> Item:
    """The state's shape, as high as the box; the box may be narrower by ``SEMAPHORE_WIDTH``."""

    def paint(draw: Pen, at: Box) -> None:
        square = Box(at.x, at.y, at.height, at.height)
        if state is State.BLIND:
            _paint_out_of_use(draw, square, ink, paper)
        else:
            _paint_arm(draw, square, ARM_RAISED_DEG[state], ink, paper)

    return Item(name, box, paint)


def _paint_post(draw: Pen, square: Box, x: float, top: float, ink: int) -> None:
    """The post and its foot."""
    half, foot = max(1.5, square.width / 20), square.width / 5
    draw.rectangle((x - half, top, x + half, square.bottom - 1), fill=ink)
    draw.rectangle((x - foot, square.bottom - 1 - half, x + foot, square.bottom - 1), fill=ink)


def _paint_arm(draw: Pen, square: Box, raised_deg: float, ink: int, paper: int) -> None:
    side = square.width
    x, y = square.x + side * 0.20, square.y + side * 0.64
    length, hub = side * (0.62 if raised_deg == 90.0 else 0.74), side * 0.15
    _paint_post(draw, square, x, y, ink)
    draw.polygon(_bar(x, y, raised_deg, 0.0, length, 0.12 * side), fill=ink)
    draw.polygon(_bar(x, y, raised_deg, length - 0.2 * side, length - 0.12 * side, 0.12 * side), fill=paper)
    draw.ellipse((x - hub, y - hub, x + hub, y + hub), fill=ink)
    draw.ellipse((x - hub / 3, y - hub / 3, x + hub / 3, y + hub / 3), fill=paper)


def _paint_out_of_use(draw: Pen, square: Box, ink: int, paper: int) -> None:
    side = square.width
    x, y = square.x + side * 0.5, square.y + side * 0.45
    _paint_post(draw, square, x, y, ink)
    for angle in (45, 135):
        draw.polygon(_bar(x, y, angle, -0.48 * side, 0.48 * side, 0.13 * side), fill=paper)
    for angle in (45, 135):
        draw.polygon(_bar(x, y, angle, -0.46 * side, 0.46 * side, 0.09 * side), fill=ink)


def _bar(
    x: float, y: float, raised_deg: float, start: float, end: float, half_width: float
) -> list[tuple[float, float]]:
    """The corners of a bar through a pivot: from ``start`` to ``end`` along a direction, 0 right, 90 up."""
    along = cos(radians(raised_deg)), -sin(radians(raised_deg))
    across = -along[1] * half_width, along[0] * half_width
    ends = [(x + along[0] * reach, y + along[1] * reach) for reach in (start, end)]
    (x0, y0), (x1, y1) = ends
    return [
        (x0 + across[0], y0 + across[1]),
        (x1 + across[0], y1 + across[1]),
        (x1 - across[0], y1 - across[1]),
        (x0 - across[0], y0 - across[1]),
    ]


def health_item(name: str, box: Box, sign: str, is_well: bool | None, ink: int, paper: int) -> Item:
    """One health mark: ``sign`` is a key of ``SIGNS``; the box is a square of 11 pixels or more."""

    def paint(draw: Pen, at: Box) -> None:
        if is_well is None:
            step = at.width // 4
            for x in (at.x + step, at.x + 2 * step, at.x + 3 * step):
                draw.point((x, at.y + at.height // 2), fill=ink)
        elif is_well:
            SIGNS[sign](draw, at, ink)
        else:
            draw.rectangle(at.corners, fill=ink)
            SIGNS[sign](draw, at.inset(2, 2), paper)

    return Item(name, box, paint)


def _ear(draw: Pen, at: Box, ink: int) -> None:
    """Bars of unlike height: something is being heard."""
    step = at.width / 5
    for column, height in enumerate((0.35, 0.8, 0.5, 1.0, 0.3)):
        x, top = at.x + round(column * step), at.bottom - round(height * at.height)
        draw.rectangle((x, top, x + max(0, round(step) - 2), at.bottom - 1), fill=ink)


def _clock(draw: Pen, at: Box, ink: int) -> None:
    x, y = at.centre
    left, top, right, bottom = at.corners
    draw.ellipse((left, top, right, bottom), outline=ink)
    draw.line((x, y, x, top + at.height // 5), fill=ink)
    draw.line((x, y, right - at.width // 4, y), fill=ink)


def _broker(draw: Pen, at: Box, ink: int) -> None:
    """One node that feeds two."""
    left, top, right, bottom = at.corners
    middle, dot = (top + bottom) // 2, max(3, at.width // 4)
    for end in (top + dot // 2, bottom - dot // 2):
        draw.line((left + dot // 2, middle, right - dot // 2, end), fill=ink)
        draw.rectangle((right - dot + 1, end - dot // 2, right, end - dot // 2 + dot - 1), fill=ink)
    draw.rectangle((left, middle - dot // 2, left + dot - 1, middle - dot // 2 + dot - 1), fill=ink)


def _display(draw: Pen, at: Box, ink: int) -> None:
    """A sheet with two lines of writing."""
    left, top, right, bottom = at.corners
    draw.rectangle((left + 1, top, right - 1, bottom), outline=ink)
    for row in (3, 5, 7):
        y = top + row * at.height // 10
        draw.line((left + 3, y, right - (3 if row < 7 else at.width // 2), y), fill=ink)


def _seen(draw: Pen, at: Box, ink: int) -> None:
    """A tick: somebody has acknowledged."""
    left, top, right, bottom = at.corners
    knee = left + at.width // 3, bottom - 1
    draw.line((left, top + at.height // 2, *knee), fill=ink, width=2)
    draw.line((*knee, right - 1, top + 1), fill=ink, width=2)


SIGNS: dict[str, Callable[[Pen, Box, int], None]] = {
    "heard": _ear,
    "clock": _clock,
    "broker": _broker,
    "display": _display,
    "seen": _seen,
}


def stripes_item(name: str, box: Box, ink: int, pitch_px: int) -> Item:
    """Slanting stripes, as on a barrier: this picture is not a view of the band."""

    def paint(draw: Pen, at: Box) -> None:
        for start in range(at.x - at.height, at.right, pitch_px):
            _paint_stripe(draw, at, start, pitch_px // 2, ink)

    return Item(name, box, paint)


def _paint_stripe(draw: Pen, at: Box, start: int, thickness: int, ink: int) -> None:
    """One stripe, row by row, kept inside the box."""
    for row in range(at.height):
        left = max(at.x, start + row)
        right = min(at.right - 1, start + row + thickness - 1)
        if left <= right:
            draw.line((left, at.y + row, right, at.y + row), fill=ink)
