"""Page 2: the openings of the bulletin's UTC day, and on large glass where to listen now."""

from collections.abc import Iterator

from sentinel.panel import words
from sentinel.panel.facts import Block, facts_items
from sentinel.panel.fonts import Face, cap_height, text_item
from sentinel.panel.sheet import Item, ground
from sentinel.panel.strip import strip_items
from sentinel.panel.style import Style, inks
from sentinel.watch.advice import advise, in_words
from sentinel.watch.bulletin import Bulletin, State

MOST_ROWS = {122: 5, 128: 5, 300: 10}
ADVICE_ROWS = 4
"""Two lines of advice and what parts them from the table; small glass has no room for them."""


def second_items(bulletin: Bulletin, style: Style, accent: bool) -> Iterator[Item]:
    """A title, one row for each opening, the newest first, and the strip."""
    ink = inks(bulletin.state if bulletin.state is State.BLIND else State.QUIET, accent)
    yield ground("paper", style.sheet, ink.paper)
    body = style.sheet.inset(style.margin, style.margin)
    size_px = style.word // 2
    title, body = body.cut_top(cap_height(Face.DISPLAY, size_px) + 2, 2)
    date = words.date_words(bulletin.at_s).upper()
    yield text_item("title", title, f"OPENINGS {date}", Face.DISPLAY, size_px, ink.line)
    rule, body = body.cut_top(2, 3)
    yield ground("rule", rule, ink.line)
    table, strip = body.cut_bottom(style.strip, 2)
    yield from facts_items(table, blocks(bulletin, MOST_ROWS[style.size[1]]), style.facts, ink.line)
    yield from strip_items(bulletin, strip, style, ink)


def blocks(bulletin: Bulletin, most_rows: int) -> list[Block]:
    openings = words.openings_today(bulletin)
    if bulletin.state is State.BLIND:
        reason = Block("reason", ((words.blind_words(bulletin),),), Face.BOLD, 0)
        return [reason, Block("because", ((words.clean(bulletin.because),),), is_paragraph=True)]
    if not openings:
        return [Block("none", (("No opening so far today.",),)), *_listen(bulletin, most_rows)]
    shown = openings[:most_rows] if len(openings) <= most_rows else openings[: most_rows - 1]
    header = ("UTC", "from", "heard", "km", "mode")
    table = [Block("opening", (header, *(words.opening_row(opening) for opening in shown)))]
    if len(shown) < len(openings):
        table.append(Block("more", ((f"and {len(openings) - len(shown)} earlier",),)))
    if len(openings) <= most_rows - ADVICE_ROWS:
        table += _listen(bulletin, most_rows)
    return table


def _listen(bulletin: Bulletin, most_rows: int) -> list[Block]:
    best = next(iter(advise(bulletin)), None) if most_rows > ADVICE_ROWS + 1 else None
    return [] if best is None else [Block("listen", ((f"Listen: {in_words(best)}.",),), is_paragraph=True)]
