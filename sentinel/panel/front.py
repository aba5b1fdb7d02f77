"""Page 1: the band now."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from sentinel.panel import words
from sentinel.panel.facts import Block, facts_items
from sentinel.panel.fonts import Face, rise_and_fall, text_item, width_of
from sentinel.panel.map import map_item
from sentinel.panel.marks import SEMAPHORE_WIDTH, semaphore_item, stripes_item
from sentinel.panel.other_bands import other_bands_items
from sentinel.panel.rose import RoseInk, rose_item
from sentinel.panel.sheet import Box, Item, ground
from sentinel.panel.strip import strip_items
from sentinel.panel.style import Inks, Style, inks
from sentinel.trade.locator import center_of
from sentinel.watch.bulletin import Bulletin, Heading, Mode, State

MOST_DOTS = 200  # stations or reflection points on the map: more than can be told apart
FRAME_PX = 3
MOST_ROWS = 4  # headings that the facts list one by one
MOST_ROWS_BESIDE_OTHERS = 3  # the same on a small glass whose last row is that of other bands


def front_items(bulletin: Bulletin, style: Style, accent: bool) -> Iterator[Item]:
    """The banner, the rose or the stripes, the facts, the marks of other bands and the strip."""
    ink = inks(bulletin.state, accent)
    banner, body = style.sheet.cut_top(style.banner)
    yield ground("paper", style.sheet, ink.paper)
    yield from banner_items(bulletin, banner, style, ink)
    body = body.cut_top(style.margin)[1].inset(style.margin, 2)
    if bulletin.state is not State.BLIND:
        body, rose = body.cut_right(style.rose, 5)
        solid = RoseInk(ink.line, ink.paper, ink.wedge, bulletin.state is State.OPEN)
        yield view_item(bulletin, rose, style, solid)
    facts, strip = body.cut_bottom(style.strip, 2)
    if bulletin.other_bands:
        facts, row = facts.cut_bottom(style.others, 2)
        yield from other_bands_items(bulletin.other_bands, row, style, ink)
    yield from facts_items(facts, blocks(bulletin, style.has_map), style.facts, ink.line)
    yield from strip_items(bulletin, strip, style, ink)


def banner_items(bulletin: Bulletin, banner: Box, style: Style, ink: Inks) -> Iterator[Item]:
    """The semaphore, the word and, while the band is open, the bearing of the strongest heading."""
    yield ground("banner", banner, ink.banner)
    if bulletin.state is State.STIRRING:
        yield frame("frame", banner, ink.word)
    inside = banner.inset(style.margin + 2, FRAME_PX)
    arm, inside = inside.cut_left(round(inside.height * SEMAPHORE_WIDTH[bulletin.state]), style.margin + 6)
    yield semaphore_item("semaphore", arm, bulletin.state, ink.word, ink.banner)
    word = bulletin.state.value.upper()
    size_px = style.word
    at, beside = inside.cut_left(width_of(word, Face.DISPLAY, size_px), style.margin * 4)
    reach = rise_and_fall("Q", Face.DISPLAY, size_px)  # the deepest letter: all words share one baseline
    yield text_item("word", at, word, Face.DISPLAY, size_px, ink.word, reach=reach)
    if bulletin.state is State.BLIND:
        yield stripes_item("stripes", beside, ink.word, style.stripe)
    if bulletin.state is State.OPEN and bulletin.headings:
        bearing = words.bearing_words(strongest(bulletin.headings)[0].bearing_deg)
        yield text_item("bearing", beside, bearing, Face.DISPLAY, size_px, ink.word, "right", reach)


def view_item(bulletin: Bulletin, box: Box, style: Style, ink: RoseInk) -> Item:
    """The map where the glass has room for one and the station's place is known, else the rose."""
    if not style.has_map or bulletin.station_locator is None:
        return rose_item("rose", box, bulletin.headings, ink)
    middle = center_of(bulletin.station_locator)
    stations = [(station.lat_deg, station.lon_deg) for station in bulletin.stations[:MOST_DOTS]]
    living = [opening for opening in bulletin.openings if opening.ended_at_s is None]
    points = [(r.lat_deg, r.lon_deg) for opening in living for r in opening.reflections][:MOST_DOTS]
    return map_item("map", box, middle, bulletin.headings, stations, points, ink)


def frame(name: str, box: Box, ink: int) -> Item:
    """A heavy frame just inside the box; what it frames is drawn upon it, so it counts as a ground."""
    return Item(
        name, box, lambda draw, at: draw.rectangle(at.corners, outline=ink, width=FRAME_PX), is_ground=True
    )


def strongest(headings: tuple[Heading, ...]) -> list[Heading]:
    """The headings, the one with the most stations first."""
    return sorted(headings, key=lambda h: (-h.stations, h.bearing_deg))


def blocks(bulletin: Bulletin, is_narrow: bool) -> list[Block]:
    """The facts in the order of what is asked first: what, from where and how far, since when, why.

    In a narrow column what would stand side by side stands on lines of its own.
    """
    because = Block("because", ((words.clean(bulletin.because),),), is_paragraph=True)
    if bulletin.state is State.BLIND:
        reason = Block("reason", ((words.blind_words(bulletin),),), Face.BOLD, 0)
        return [reason, because, Block("since", (words.since_words(bulletin),))]
    since = Block("since", side_by_side(words.since_words(bulletin), is_narrow))
    if bulletin.headings:
        return [*heading_blocks(bulletin, is_narrow), since, replace(because, may_be_left_out=True)]
    outlook = Block("outlook", ((words.outlook_words(bulletin),),), may_be_left_out=True)
    return [because, since, outlook]


def side_by_side(cells: Sequence[str], is_narrow: bool) -> tuple[tuple[str, ...], ...]:
    """The cells that say something as one row, or as one row each."""
    kept = tuple(cell for cell in cells if cell)
    return tuple((cell,) for cell in kept) if is_narrow else (kept,)


def heading_blocks(bulletin: Bulletin, is_narrow: bool) -> list[Block]:
    """One heading, led by what the banner does not say; several as a table."""
    headings = strongest(bulletin.headings)
    if len(headings) > 1:
        has_less_room = bool(bulletin.other_bands) and not is_narrow
        return several_blocks(headings, MOST_ROWS_BESIDE_OTHERS if has_less_room else MOST_ROWS, is_narrow)
    only = headings[0]
    lead, mode = words.MODE_WORDS[only.mode], ""
    if bulletin.state is not State.OPEN:
        lead = f"{words.bearing_words(only.bearing_deg)} {words.point_words(only.bearing_deg)}"
        mode = "" if only.mode is Mode.UNKNOWN else words.MODE_LETTERS[only.mode]
    reach = (words.stations_words(only.stations), words.km_words(only.nearest_km, only.farthest_km), mode)
    return [Block("lead", ((lead,),), Face.BOLD, 0), Block("reach", side_by_side(reach, is_narrow))]


def several_blocks(headings: list[Heading], most_rows: int, is_narrow: bool) -> list[Block]:
    """A row for each of the strongest headings; in a narrow column the reach of all is one line."""
    rows = tuple(words.heading_row(heading) for heading in headings[:most_rows])
    if not is_narrow:
        has_room = len(rows) == 2
        rows = tuple((*row[:2], f"{row[2]} km", *row[3:]) if has_room else row for row in rows)
        return [Block("heading", rows, Face.BOLD)]
    nearest, farthest = min(h.nearest_km for h in headings), max(h.farthest_km for h in headings)
    return [
        Block("heading", tuple((bearing, count, mode) for bearing, count, _, mode in rows), Face.BOLD, 0),
        Block("reach", ((words.km_words(nearest, farthest),),)),
    ]
