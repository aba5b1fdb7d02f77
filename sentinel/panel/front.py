"""Page 1: the band now."""

from collections.abc import Iterator

from sentinel.panel import words
from sentinel.panel.facts import Block, facts_items
from sentinel.panel.fonts import Face, capitals_item, largest_fitting, width_of
from sentinel.panel.marks import semaphore_item, stripes_item
from sentinel.panel.rose import RoseInk, rose_item
from sentinel.panel.sheet import Box, Item, ground
from sentinel.panel.strip import strip_items
from sentinel.panel.style import Inks, Style, inks
from sentinel.watch.bulletin import Bulletin, Heading, State

MOST_ROWS = 4  # headings that the facts list one by one


def front_items(bulletin: Bulletin, style: Style, accent: bool) -> Iterator[Item]:
    """The banner, the rose or the stripes, the facts and the strip."""
    ink = inks(bulletin.state, accent)
    banner, body = style.sheet.cut_top(style.banner)
    yield ground("paper", style.sheet, ink.paper)
    yield from banner_items(bulletin, banner, style, ink)
    body = body.inset(style.margin, 2)
    if bulletin.state is State.BLIND:
        stripes, body = body.cut_top(style.stripe, 4)
        yield stripes_item("stripes", stripes, ink.line, style.stripe)
    else:
        body, rose = body.cut_right(style.rose, 5)
        solid = RoseInk(ink.line, ink.paper, ink.wedge, bulletin.state is State.OPEN)
        yield rose_item("rose", rose, bulletin.headings, solid)
    facts, strip = body.cut_bottom(style.strip, 2)
    yield from facts_items(facts, blocks(bulletin), style.facts, ink.line)
    yield from strip_items(bulletin, strip, style, ink)


def banner_items(bulletin: Bulletin, banner: Box, style: Style, ink: Inks) -> Iterator[Item]:
    """The semaphore, the word and, while the band is open, the bearing of the strongest heading."""
    yield ground("banner", banner, ink.banner)
    if bulletin.state is State.STIRRING:
        yield frame("frame", banner, ink.word)
    inside = banner.inset(style.margin + 2, 4)
    arm, inside = inside.cut_left(inside.height, style.margin + 4)
    yield semaphore_item("semaphore", arm, bulletin.state, ink.word, ink.banner)
    word = bulletin.state.value.upper()
    size_px = largest_fitting(word, Face.DISPLAY, style.word, inside.width)
    width = width_of(word, Face.DISPLAY, size_px)
    at, beside = inside.cut_left(width, style.margin * 4)
    yield capitals_item("word", at, word, Face.DISPLAY, size_px, ink.word)
    if bulletin.state is State.OPEN and bulletin.headings:
        bearing = words.bearing_words(strongest(bulletin.headings)[0].bearing_deg)
        size_px = largest_fitting(bearing, Face.DISPLAY, style.word, beside.width)
        yield capitals_item("bearing", beside, bearing, Face.DISPLAY, size_px, ink.word, "right")


def frame(name: str, box: Box, ink: int) -> Item:
    """A heavy frame just inside the box; what it frames is drawn upon it, so it counts as a ground."""
    return Item(
        name, box, lambda draw, at: draw.rectangle(at.corners, outline=ink, width=3), is_ground=True
    )


def strongest(headings: tuple[Heading, ...]) -> list[Heading]:
    """The headings, the one with the most stations first."""
    return sorted(headings, key=lambda h: (-h.stations, h.bearing_deg))


def blocks(bulletin: Bulletin) -> list[Block]:
    """The facts in the order of what is asked first: what, from where and how far, why, since when."""
    because = Block("because", ((words.clean(bulletin.because),),), is_paragraph=True)
    since = Block("since", ((words.since_words(bulletin),),))
    if bulletin.state is State.BLIND:
        return [Block("reason", ((words.blind_words(bulletin),),), Face.BOLD, 0), since, because]
    headings = strongest(bulletin.headings)
    if not headings:
        outlook = Block("outlook", ((words.outlook_words(bulletin),),))
        return [since, because, outlook]
    return [*heading_blocks(headings), since, because]


def heading_blocks(headings: list[Heading]) -> list[Block]:
    """One heading in two lines; several as a table, the strongest first."""
    if len(headings) == 1:
        only = headings[0]
        rows = ((words.stations_words(only.stations), words.km_words(only.nearest_km, only.farthest_km)),)
        return [
            Block("mode", ((words.MODE_WORDS[only.mode],),), Face.BOLD, 0),
            Block("reach", rows, Face.REGULAR, 1),
        ]
    table = tuple(words.heading_row(h) for h in headings[:MOST_ROWS])
    return [Block("heading", table, Face.BOLD, 1)]
