"""The column of facts: rows of text that are set as large as the column allows, and never clipped.

A block is one or more rows of cells, or one paragraph. The column tries its type sizes from the largest down
and takes the first at which every block fits whole; at the smallest, rows are shortened with an ellipsis and
blocks that no longer fit are left out from the end, except that a paragraph gives way first.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sentinel.panel.fonts import Face, line_height, shorten, text_item, width_of, wrap
from sentinel.panel.sheet import Box, Item

GAP_PX = 2  # between blocks
CELL_GAP_EM = 0.55  # between the cells of a row, of the type size


@dataclass(frozen=True, slots=True)
class Block:
    """A table of rows in one face; ``rank`` 0 is set in the larger size, 1 in the smaller."""

    name: str
    rows: tuple[tuple[str, ...], ...]
    face: Face = Face.REGULAR
    rank: int = 1
    is_paragraph: bool = False


@dataclass(frozen=True, slots=True)
class Setting:
    """A block set in one size: its rows, its column widths and its height in pixels."""

    block: Block
    size_px: int
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...]
    is_whole: bool

    @property
    def height(self) -> int:
        return len(self.rows) * line_height(self.block.face, self.size_px)


def facts_items(box: Box, blocks: Sequence[Block], sizes: Sequence[tuple[int, int]], ink: int) -> list[Item]:
    """Set the blocks into the box from the top; ``sizes`` are (larger, smaller) pixel sizes, largest first."""
    blocks = [block for block in blocks if any(any(row) for row in block.rows)]
    for pair in sizes:
        settings = [_set(block, pair[block.rank], box.width) for block in blocks]
        if all(s.is_whole for s in settings) and _height(settings) <= box.height:
            return list(_place(box, settings, ink))
    return list(_place(box, _squeeze(settings if blocks else [], box), ink))


def _height(settings: Sequence[Setting]) -> int:
    return sum(s.height for s in settings) + GAP_PX * max(0, len(settings) - 1)


def _set(block: Block, size_px: int, width_px: int) -> Setting:
    if block.is_paragraph:
        lines = wrap(block.rows[0][0], block.face, size_px, width_px)
        return Setting(block, size_px, tuple((line,) for line in lines), (width_px,), True)
    columns = list(zip(*block.rows, strict=True))
    widths = [max(width_of(cell, block.face, size_px) for cell in column) for column in columns]
    room = width_px - sum(widths) - (len(widths) - 1) * round(CELL_GAP_EM * size_px)
    widths[-1] = max(0, widths[-1] + room)
    return Setting(block, size_px, block.rows, tuple(widths), room >= 0)


def _squeeze(settings: Sequence[Setting], box: Box) -> list[Setting]:
    """Shorten the paragraphs, then leave out blocks from the end, until the rest fits the box."""
    kept = list(settings)
    for index, setting in enumerate(kept):
        if setting.block.is_paragraph:
            line = line_height(setting.block.face, setting.size_px)
            others = _height(kept) - setting.height
            kept[index] = _clamp(setting, max(0, box.height - others) // line, box.width)
    kept = [s for s in kept if s.rows]
    while _height(kept) > box.height:
        kept.pop()
    return kept


def _clamp(setting: Setting, lines: int, width_px: int) -> Setting:
    """At most so many lines of a paragraph; the last carries the ellipsis."""
    rows = setting.rows
    if len(rows) > lines:
        rest = " ".join(row[0] for row in rows[lines - 1 :]) if lines else ""
        last = shorten(rest, setting.block.face, setting.size_px, width_px)
        rows = (*rows[: lines - 1], (last,)) if lines else ()
    return Setting(setting.block, setting.size_px, rows, setting.widths, False)


def _place(box: Box, settings: Sequence[Setting], ink: int) -> Iterator[Item]:
    y = box.y
    for setting in settings:
        face, size_px = setting.block.face, setting.size_px
        height = line_height(face, size_px)
        for number, row in enumerate(setting.rows, 1):
            x = box.x
            for column, (cell, width) in enumerate(zip(row, setting.widths, strict=True), 1):
                room = max(0, min(width, box.right - x))
                name = f"{setting.block.name}-{number}-{column}"
                yield text_item(name, Box(x, y, room, height), cell, face, size_px, ink)
                x += width + round(CELL_GAP_EM * size_px)
            y += height
        y += GAP_PX
