"""The column of facts: rows of text that are set as large as the column allows, and never clipped.

A block is a table of rows, or one paragraph. The column tries its pairs of type sizes from the largest down
and takes the first at which every needed block fits whole; then each block that may be left out is set at the
largest size at which it fits whole into what is left. At the smallest size paragraphs and rows are shortened
with an ellipsis, and what has no line left is left out, the last block first.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from sentinel.panel.fonts import Face, rise_and_fall, shorten, text_item, width_of, wrap
from sentinel.panel.sheet import Box, Item

LEADING_EM = 0.125  # between the lines of a block, of the type size
GAP_PX = 2  # between blocks, at least
MOST_AIR_PX = 5  # added above and between blocks where there is room to spare
CELL_GAP_EM = 0.5  # between the cells of a row, of the type size
Sizes = Sequence[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Block:
    """A table of rows in one face; ``rank`` 0 is set in the larger size of a pair, 1 in the smaller."""

    name: str
    rows: tuple[tuple[str, ...], ...]
    face: Face = Face.REGULAR
    rank: int = 1
    is_paragraph: bool = False
    may_be_left_out: bool = False


@dataclass(frozen=True, slots=True)
class Setting:
    """A block set in one size: its rows, its column widths, the rise and fall of its lines, all in pixels."""

    block: Block
    size_px: int
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...]
    rise: int
    fall: int
    is_whole: bool

    @property
    def leading(self) -> int:
        return max(1, int(LEADING_EM * self.size_px))

    @property
    def pitch(self) -> int:
        """From one baseline to the next."""
        return self.rise + self.fall + self.leading

    @property
    def height(self) -> int:
        return len(self.rows) * self.pitch - self.leading

    def lines_in(self, height: int) -> int:
        """How many of its lines a height holds."""
        return max(0, height + self.leading) // self.pitch


def facts_items(box: Box, blocks: Sequence[Block], sizes: Sizes, ink: int) -> list[Item]:
    """Set the blocks into the box from the top; ``sizes`` are (larger, smaller) pairs, largest first."""
    blocks = [block for block in blocks if any(any(row) for row in block.rows)]
    needed = [block for block in blocks if not block.may_be_left_out]
    level, settings = _set_needed(needed, sizes, box)
    for block in blocks:
        if block.may_be_left_out:
            room = box.height - _height(settings) - GAP_PX * bool(settings)
            settings.extend(_set_spare(block, sizes[level:], Box(box.x, box.y, box.width, room)))
    settings.sort(key=lambda setting: blocks.index(setting.block))
    return list(_place(box, settings, ink))


def _set_needed(blocks: Sequence[Block], sizes: Sizes, box: Box) -> tuple[int, list[Setting]]:
    settings: list[Setting] = []
    for level, pair in enumerate(sizes):
        settings = [_set(block, pair[block.rank], box.width) for block in blocks]
        if all(setting.is_whole for setting in settings) and _height(settings) <= box.height:
            return level, settings
    return len(sizes) - 1, _squeeze(settings, box)


def _set_spare(block: Block, sizes: Sizes, room: Box) -> list[Setting]:
    """The block at the largest size at which it fits whole, else shortened at the smallest, else nothing."""
    for pair in sizes:
        setting = _set(block, pair[block.rank], room.width)
        if setting.is_whole and setting.height <= room.height:
            return [setting]
    return [
        clamped for clamped in [_clamp(setting, setting.lines_in(room.height), room.width)] if clamped.rows
    ]


def _height(settings: Sequence[Setting]) -> int:
    return sum(setting.height for setting in settings) + GAP_PX * max(0, len(settings) - 1)


def _set(block: Block, size_px: int, width_px: int) -> Setting:
    rows, face = block.rows, block.face
    if block.is_paragraph:
        rows = tuple((line,) for line in wrap(rows[0][0], face, size_px, width_px))
    widths = [max(width_of(cell, face, size_px) for cell in column) for column in zip(*rows, strict=True)]
    room = width_px - sum(widths) - (len(widths) - 1) * round(CELL_GAP_EM * size_px)
    widths[-1] = max(0, widths[-1] + room)
    rise, fall = rise_and_fall("".join(cell for row in rows for cell in row), face, size_px)
    return Setting(block, size_px, rows, tuple(widths), rise, fall, room >= 0)


def _squeeze(settings: Sequence[Setting], box: Box) -> list[Setting]:
    """Shorten the paragraphs, then leave out blocks from the end, until the rest fits the box."""
    kept = list(settings)
    for index, setting in enumerate(kept):
        if setting.block.is_paragraph:
            spare = box.height - (_height(kept) - setting.height)
            kept[index] = _clamp(setting, setting.lines_in(spare), box.width)
    kept = [setting for setting in kept if setting.rows]
    while _height(kept) > box.height:
        kept.pop()
    return kept


def _clamp(setting: Setting, lines: int, width_px: int) -> Setting:
    """At most so many of the lines; of a paragraph the last carries an ellipsis."""
    rows = setting.rows[:lines]
    if rows and len(rows) < len(setting.rows) and setting.block.is_paragraph:
        rest = " ".join(row[0] for row in setting.rows[lines - 1 :])
        rows = (*rows[:-1], (shorten(rest, setting.block.face, setting.size_px, width_px),))
    return replace(setting, rows=rows)


def _place(box: Box, settings: Sequence[Setting], ink: int) -> Iterator[Item]:
    air = min(MOST_AIR_PX, max(0, box.height - _height(settings)) // (len(settings) + 1))
    y = box.y + air
    for setting in settings:
        face, size_px = setting.block.face, setting.size_px
        for number, row in enumerate(setting.rows, 1):
            x = box.x
            for column, (cell, width) in enumerate(zip(row, setting.widths, strict=True), 1):
                at = Box(x, y, max(0, min(width, box.right - x)), setting.rise + setting.fall)
                name = f"{setting.block.name}-{number}-{column}"
                yield text_item(name, at, cell, face, size_px, ink, reach=(setting.rise, setting.fall))
                x += width + round(CELL_GAP_EM * size_px)
            y += setting.pitch
        y += GAP_PX - setting.leading + air
