"""The two type families on the panel, and how text is made to fit.

B612 was drawn for cockpit displays and stays readable in one bit at ten pixels; Bebas Neue gives the tall,
narrow capitals that carry across a room. Both are shipped beside this file with their licence (SIL OFL 1.1).
All text is drawn in whole pixels without grey: e-paper has none.
"""

from collections.abc import Sequence
from enum import StrEnum
from functools import cache
from importlib.resources import files

from PIL import ImageDraw, ImageFont

from sentinel.panel.sheet import Box, Item, Paint

# the tallest and the deepest of the characters that sentinel.panel.words lets through
TALL_AND_DEEP = "|(){}[]Qgjpqy@$/\\°,;_"
ELLIPSIS = "…"


class Face(StrEnum):
    """The faces in use, by file name."""

    REGULAR = "B612-Regular.otf"
    BOLD = "B612-Bold.otf"
    DISPLAY = "BebasNeue-Bold.otf"


@cache
def font(face: Face, size_px: int) -> ImageFont.FreeTypeFont:
    """One face at one size in pixels; the basic layout engine, so that every build of Pillow agrees."""
    with (files("sentinel.panel") / "fonts" / face.value).open("rb") as data:
        return ImageFont.truetype(data, size_px, layout_engine=ImageFont.Layout.BASIC)


@cache
def rise_and_fall(face: Face, size_px: int) -> tuple[int, int]:
    """Pixels above and below the baseline that any allowed text can reach."""
    _, top, _, bottom = font(face, size_px).getbbox(TALL_AND_DEEP, mode="1", anchor="ls")
    return -int(top), int(bottom)


@cache
def cap_height(face: Face, size_px: int) -> int:
    """Height of capitals and digits in pixels."""
    _, top, _, bottom = font(face, size_px).getbbox("HOS08", mode="1", anchor="ls")
    return int(bottom) - int(top)


def line_height(face: Face, size_px: int) -> int:
    """Height of a line box that any allowed text fits."""
    return sum(rise_and_fall(face, size_px))


def ink_span(text: str, face: Face, size_px: int) -> tuple[int, int]:
    """First and past-last column of the ink, relative to the pen."""
    left, _, right, _ = font(face, size_px).getbbox(text, mode="1", anchor="ls")
    return int(left), int(right)


def width_of(text: str, face: Face, size_px: int) -> int:
    """Width of the ink in pixels."""
    left, right = ink_span(text, face, size_px)
    return right - min(0, left)


def shorten(text: str, face: Face, size_px: int, width_px: int) -> str:
    """The text, or as much of it as fits the width with an ellipsis behind; empty where not even that fits."""
    if width_of(text, face, size_px) <= width_px:
        return text
    for end in range(len(text) - 1, -1, -1):
        shorter = text[:end].rstrip(" ,.;:-") + ELLIPSIS
        if width_of(shorter, face, size_px) <= width_px:
            return shorter
    return ""


def wrap(text: str, face: Face, size_px: int, width_px: int) -> list[str]:
    """Break at blanks into lines no wider than the width; a single word that is too wide is shortened."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_of(longer, face, size_px) <= width_px:
            lines[-1] = longer
        else:
            lines.append(shorten(word, face, size_px, width_px))
    return lines


def largest_fitting(text: str, face: Face, sizes_px: Sequence[int], width_px: int) -> int:
    """The first of the sizes (given largest first) at which the text fits the width, else the last."""
    for size_px in sizes_px:
        if width_of(text, face, size_px) <= width_px:
            return size_px
    return sizes_px[-1]


def text_item(
    name: str, box: Box, text: str, face: Face, size_px: int, ink: int, align: str = "left"
) -> Item:
    """One line of text, shortened to its box, its line box centred in the box's height."""
    fitted = shorten(text, face, size_px, box.width)
    rise, fall = rise_and_fall(face, size_px)
    return Item(name, box, _line_painter(fitted, face, size_px, ink, align, rise, fall), text=fitted)


def capitals_item(
    name: str, box: Box, text: str, face: Face, size_px: int, ink: int, align: str = "left"
) -> Item:
    """One line of capitals and digits only, centred in the box by their own height."""
    fitted = shorten(text, face, size_px, box.width)
    rise = cap_height(face, size_px)
    return Item(name, box, _line_painter(fitted, face, size_px, ink, align, rise, 0), text=fitted)


def _line_painter(
    text: str, face: Face, size_px: int, ink: int, align: str, rise: int, fall: int
) -> Paint:
    def paint(draw: ImageDraw.ImageDraw, box: Box) -> None:
        if not text:
            return
        left, right = ink_span(text, face, size_px)
        slack = box.width - (right - min(0, left))
        x = box.x - min(0, left) + {"left": 0, "centre": slack // 2, "right": slack}[align]
        y = box.y + (box.height - rise - fall) // 2 + rise
        draw.text((x, y), text, font=font(face, size_px), fill=ink, anchor="ls")

    return paint
