"""The sheet of paper: boxes, the items drawn into them, and the picture that they make together.

Layout and drawing are apart. A layout is a tuple of items, each with a name, a box and a paint function that
draws only inside the box it is given; so a test can paint any item alone, on a larger sheet, and prove that
its ink stays in its box and that no two boxes share a pixel.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from PIL import Image, ImageDraw

WHITE, BLACK, ACCENT = 0, 1, 2
PALETTE = (255, 255, 255, 0, 0, 0, 200, 30, 30)


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in pixels; ``right`` and ``bottom`` are the first column and row outside it."""

    x: int
    y: int
    width: int
    height: int

    @property
    def right(self) -> int:
        return self.x + self.width

    @property
    def bottom(self) -> int:
        return self.y + self.height

    @property
    def centre(self) -> tuple[int, int]:
        return self.x + self.width // 2, self.y + self.height // 2

    @property
    def corners(self) -> tuple[int, int, int, int]:
        """Left, top, right and bottom pixel, all inside the box, as Pillow wants them."""
        return self.x, self.y, self.right - 1, self.bottom - 1

    def shifted(self, dx: int, dy: int) -> "Box":
        return Box(self.x + dx, self.y + dy, self.width, self.height)

    def inset(self, dx: int, dy: int) -> "Box":
        return Box(self.x + dx, self.y + dy, max(0, self.width - 2 * dx), max(0, self.height - 2 * dy))

    def cut_left(self, width: int, gap: int = 0) -> tuple["Box", "Box"]:
        """Cut a strip off the left side; returns the strip and what is left after the gap."""
        return (
            Box(self.x, self.y, width, self.height),
            Box(self.x + width + gap, self.y, max(0, self.width - width - gap), self.height),
        )

    def cut_right(self, width: int, gap: int = 0) -> tuple["Box", "Box"]:
        """Cut a strip off the right side; returns the rest and the strip."""
        rest, strip = self.cut_left(self.width - width)
        return Box(rest.x, rest.y, max(0, rest.width - gap), rest.height), strip

    def cut_top(self, height: int, gap: int = 0) -> tuple["Box", "Box"]:
        """Cut a strip off the top; returns the strip and what is left after the gap."""
        return (
            Box(self.x, self.y, self.width, height),
            Box(self.x, self.y + height + gap, self.width, max(0, self.height - height - gap)),
        )

    def cut_bottom(self, height: int, gap: int = 0) -> tuple["Box", "Box"]:
        """Cut a strip off the bottom; returns the rest and the strip."""
        rest, strip = self.cut_top(self.height - height)
        return Box(rest.x, rest.y, rest.width, max(0, rest.height - gap)), strip

    def overlaps(self, other: "Box") -> bool:
        return (
            self.x < other.right and other.x < self.right and self.y < other.bottom and other.y < self.bottom
        )

    def contains(self, other: "Box") -> bool:
        return (
            self.x <= other.x
            and self.y <= other.y
            and other.right <= self.right
            and other.bottom <= self.bottom
        )


Paint = Callable[[ImageDraw.ImageDraw, Box], None]


@dataclass(frozen=True, slots=True)
class Item:
    """One thing on the sheet. A ground lies under other items; nothing else shares a pixel with another."""

    name: str
    box: Box
    paint: Paint
    is_ground: bool = False
    text: str = ""


def ground(name: str, box: Box, ink: int) -> Item:
    """A filled area that other items are drawn on."""
    return Item(name, box, lambda draw, at: draw.rectangle(at.corners, fill=ink), is_ground=True)


def render(items: Iterable[Item], size: tuple[int, int], accent: bool) -> Image.Image:
    """Paint the items in order: mode ``P`` (white, black, accent) when ``accent``, else mode ``1``."""
    sheet = Image.new("P", size, WHITE)
    sheet.putpalette(PALETTE)
    draw = ImageDraw.Draw(sheet)
    draw.fontmode = "1"
    for item in items:
        item.paint(draw, item.box)
    if accent:
        return sheet
    return sheet.point([255] + [0] * 255, "1")
