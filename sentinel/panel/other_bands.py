"""A row of marks, one for each other band that is watched: its name and the semaphore of its state.

An open band's mark is white on black, as its banner would be; so is nothing else in the row.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import ceil

from sentinel.panel.fonts import Face, rise_and_fall, text_item, width_of
from sentinel.panel.marks import SEMAPHORE_WIDTH, semaphore_item
from sentinel.panel.sheet import Box, Item, ground
from sentinel.panel.style import Inks, Style
from sentinel.panel.words import clean
from sentinel.watch.bulletin import OtherBand, State

PAD_PX = 2  # left and right of what a mark shows, and between sign and name
RIM_PX = 1  # above and below it
GAP_PX = 3  # between two marks, at least
MOST_GAP_PX = 10
MOST_MARKS = 4


def other_bands_items(bands: Sequence[OtherBand], row: Box, style: Style, ink: Inks) -> Iterator[Item]:
    """The marks from left to right, as large as all of them fit."""
    shown = bands[:MOST_MARKS]
    side = row.height - 2 * RIM_PX
    signs = [ceil(side * SEMAPHORE_WIDTH[each.state]) + 1 for each in shown]  # strokes are whole pixels
    room = row.width - sum(signs) - len(shown) * 3 * PAD_PX - (len(shown) - 1) * GAP_PX
    size_px, widths = _names([clean(each.band) for each in shown], style.small, room)
    gap = GAP_PX + min((room - sum(widths)) // len(shown), MOST_GAP_PX - GAP_PX)
    x = row.x
    for each, sign, width in zip(shown, signs, widths, strict=True):
        mark = Box(x, row.y, sign + width + 3 * PAD_PX, row.height)
        yield from _mark(each, mark, sign, size_px, ink)
        x = mark.right + gap


def _names(names: Sequence[str], sizes: Sequence[int], room: int) -> tuple[int, list[int]]:
    """The largest type in which the names fit side by side, and their widths; else they are shortened."""
    for size_px in sizes:
        widths = [width_of(name, Face.BOLD, size_px) for name in names]
        if sum(widths) <= room:
            return size_px, widths
    return sizes[-1], [min(width, room // len(names)) for width in widths]


def _mark(band: OtherBand, mark: Box, sign: int, size_px: int, ink: Inks) -> Iterator[Item]:
    if band.state is State.OPEN:
        yield ground(f"other-ground-{band.band}", mark, ink.line)
        ink = replace(ink, line=ink.paper, paper=ink.line)
    at, beside = mark.inset(PAD_PX, RIM_PX).cut_left(sign, PAD_PX)
    yield semaphore_item(f"other-sign-{band.band}", at, band.state, ink.line, ink.paper)
    reach = rise_and_fall("m0", Face.BOLD, size_px)  # one baseline, whatever the name
    yield text_item(f"other-{band.band}", beside, clean(band.band), Face.BOLD, size_px, ink.line, reach=reach)
