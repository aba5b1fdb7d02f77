"""The two type families on the panel, and how text is made to fit.

B612 was drawn for cockpit displays and stays readable in one bit at ten pixels; Bebas Neue gives the tall,
narrow capitals that carry across a room. Both are shipped beside this file with their licence (SIL OFL 1.1).
All text is drawn in whole pixels without grey: e-paper has none.
"""

from collections.abc import Sequence
from enum import StrEnum
from functools import cache
from importlib.resources import files
from io import BytesIO

from PIL import ImageDraw, ImageFont

from sentinel.panel.sheet import Box, Item

ELLIPSIS = "…"


class Face(StrEnum):
    """The faces in use, by file name."""

    REGULAR = "B612-Regular.otf"
    BOLD = "B612-Bold.otf"
    DISPLAY = "BebasNeue-Bold.otf"


@cache
def font(face: Face, size_px: int) -> ImageFont.FreeTypeFont:
    """One face at one size in pixels; the basic layout engine, so that every build of Pillow agrees."""
    data = (files("sentinel.panel") / "fonts" / face.value).read_bytes()
    return ImageFont.truetype(BytesIO(data), size_px, layout_engine=ImageFont.Layout.BASIC)


def rise_and_fall(text: str, face: Face, size_px: int) -> tuple[int, int]:
    """Pixels that the text reaches above and below the baseline; nothing for nothing."""
    if not text:
        return 0, 0
    _, top, _, bottom = font(face, size_px).getbbox(text, mode="1", anchor="ls")
    return -int(top), max(0, int(bottom))


def cap_height(face: Face, size_px: int) -> int:
    """Height of capitals and digits in pixels."""
    return sum(rise_and_fall("EHM0", face, size_px))


def ink_span(text: str, face: Face, size_px: int) -> tuple[int, int]:
    """First and past-last column of the ink, relative to the pen."""
    left, _, right, _ = font(face, size_px).getbbox(text, mode="1", anchor="ls")
    return int(left), int(right)


def width_of(text: str, face: Face, size_px: int) -> int:
    """Width of the ink in pixels."""
    left, right = ink_span(text, face, size_px)
    return right - left


def shorten(text: str, face: Face, size_px: int, width_px: int) -> str:
    """The text, or as much of it as fits the width with an ellipsis behind; empty where nothing fits."""
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
    name: str,
    box: Box,
    text: str,
    face: Face,
    size_px: int,
    ink: int,
    align: str = "left",
    reach: tuple[int, int] | None = None,
) -> Item:
    """One line of text, shortened to the width of its box and centred in its height.

    ``reach`` is the rise and fall to centre by, for texts that must share a baseline; else the text's own.
    """
    fitted = shorten(text, face, size_px, box.width)
    rise, fall = reach or rise_and_fall(fitted, face, size_px)

    def paint(draw: ImageDraw.ImageDraw, at: Box) -> None:
        if not fitted:
            return
        left, right = ink_span(fitted, face, size_px)
        slack = at.width - (right - left)
        x = at.x - left + {"left": 0, "centre": slack // 2, "right": slack}[align]
        y = at.y + (at.height - rise - fall) // 2 + rise
        draw.text((x, y), fitted, font=font(face, size_px), fill=ink, anchor="ls")

    return Item(name, box, paint, text=fitted)
