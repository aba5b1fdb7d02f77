"""The last picture at a clean shutdown: it says that the watch is off, lest anybody read an old verdict."""

from collections.abc import Iterator

from PIL import Image

from sentinel.panel import words
from sentinel.panel.facts import Block, facts_items
from sentinel.panel.fonts import Face, rise_and_fall, text_item, width_of
from sentinel.panel.marks import stripes_item
from sentinel.panel.sheet import BLACK, WHITE, Item, ground, render
from sentinel.panel.style import STYLES, Style


def farewell_picture(size: tuple[int, int], at_s: float, accent: bool = False) -> Image.Image:
    """Black on white: OFF, and since when. ``size`` as for ``sentinel.panel.picture.draw``."""
    return render(farewell_items(STYLES[size], at_s), size, accent)


def farewell_items(style: Style, at_s: float) -> Iterator[Item]:
    """The word where the state's word stands, stripes beside it, and one sentence."""
    yield ground("paper", style.sheet, WHITE)
    banner, body = style.sheet.cut_top(style.banner)
    inside = banner.inset(style.margin + 2, 3)
    word, beside = inside.cut_left(width_of("OFF", Face.DISPLAY, style.word), style.margin * 4)
    reach = rise_and_fall("Q", Face.DISPLAY, style.word)
    yield text_item("word", word, "OFF", Face.DISPLAY, style.word, BLACK, reach=reach)
    yield stripes_item("stripes", beside, BLACK, style.stripe)
    stopped = f"The watch was stopped on {words.date_words(at_s)} at {words.time_words(at_s)} UTC."
    blocks = [
        Block("stopped", ((stopped,),), is_paragraph=True),
        Block("nothing", (("Nothing here tells how the band is.",),), is_paragraph=True),
    ]
    yield from facts_items(body.inset(style.margin, style.margin), blocks, style.facts, BLACK)
