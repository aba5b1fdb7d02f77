"""The strip at the foot: is the watch itself well, and when was this picture true?"""

from collections.abc import Iterator

from sentinel.panel import words
from sentinel.panel.fonts import Face, largest_fitting, text_item, width_of
from sentinel.panel.marks import health_item
from sentinel.panel.sheet import Box, Item
from sentinel.panel.style import Inks, Style
from sentinel.watch.bulletin import Bulletin

GAP_PX = 4
WATCHED_PARTS = ("clock", "broker", "display")


def strip_items(bulletin: Bulletin, strip: Box, style: Style, ink: Inks) -> Iterator[Item]:
    """The age of the last decode, then clock, broker and display, and beside or above them date and time."""
    if style.has_map:
        upper, strip = strip.cut_top(strip.height - style.mark)
        yield as_of_item(bulletin, upper, style, ink, "left")
    mark_y = strip.y + (strip.height - style.mark) // 2
    signs = marks(bulletin)
    first = Box(strip.x, mark_y, style.mark, style.mark)
    yield health_item("mark-heard", first, "heard", True, ink.line, ink.paper)
    age = words.age_words(_age_s(bulletin))
    room = strip.width - (style.mark + 2) - (GAP_PX + 2) - len(signs) * (style.mark + GAP_PX)
    size_px = largest_fitting(age, Face.REGULAR, style.small, room)
    width = min(room, width_of(age, Face.REGULAR, size_px))
    at = Box(first.right + 2, strip.y, width, strip.height)
    yield text_item("age", at, age, Face.REGULAR, size_px, ink.line)
    x = at.right + GAP_PX + 2
    for sign, is_well in signs:
        box = Box(x, mark_y, style.mark, style.mark)
        yield health_item(f"mark-{sign}", box, sign, is_well, ink.line, ink.paper)
        x += style.mark + GAP_PX
    if not style.has_map:
        room_left = Box(x, strip.y, strip.right - x, strip.height)
        yield as_of_item(bulletin, room_left, style, ink, "right")


def _age_s(bulletin: Bulletin) -> float | None:
    last_at_s = bulletin.receiver.last_decode_at_s
    return None if last_at_s is None else bulletin.at_s - last_at_s


def marks(bulletin: Bulletin) -> list[tuple[str, bool | None]]:
    """The health marks in order; the tick stands there only once somebody has acknowledged."""
    states = {part.name: part.is_well for part in bulletin.parts}
    signs: list[tuple[str, bool | None]] = [(name, states.get(name)) for name in WATCHED_PARTS]
    if bulletin.is_acknowledged:
        signs.append(("seen", True))
    return signs


def as_of_item(bulletin: Bulletin, room: Box, style: Style, ink: Inks, align: str) -> Item:
    """Date and time of the bulletin, shorter where there is little room."""
    time, date = words.time_words(bulletin.at_s), words.date_words(bulletin.at_s)
    for text in (f"{date}, {time} UTC", f"{date} {time}", time):
        size_px = largest_fitting(text, Face.REGULAR, style.small, room.width)
        if width_of(text, Face.REGULAR, size_px) <= room.width:
            break
    return text_item("as-of", room, text, Face.REGULAR, size_px, ink.line, align)
