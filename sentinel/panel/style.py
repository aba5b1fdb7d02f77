"""The measures of each picture size, in pixels, and the inks of each state: design as data."""

from dataclasses import dataclass

from sentinel.panel.sheet import ACCENT, BLACK, WHITE, Box
from sentinel.watch.bulletin import State

Sizes = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Style:
    """Where things go on one size of glass. Type sizes are (larger, smaller) pairs, largest first."""

    size: tuple[int, int]
    margin: int
    banner: int  # height of the banner
    word: int  # size of the state's word
    rose: int  # side of the rose's box; its height is what the banner leaves
    strip: int  # height of the strip of marks
    mark: int  # side of one mark
    others: int  # height of the row of other bands, where there are any
    small: tuple[int, ...]  # sizes of the strip's text
    facts: Sizes
    stripe: int  # pitch of the stripes of a blind picture
    has_map: bool = False  # and so a narrow column of facts

    @property
    def sheet(self) -> Box:
        return Box(0, 0, *self.size)


STYLES = {
    (250, 122): Style(
        size=(250, 122), margin=3, banner=48, word=54, rose=66, strip=12, mark=11, others=14, stripe=10,
        small=(11, 10),
        facts=(
            (20, 15), (18, 14), (18, 13), (17, 12), (16, 12), (16, 11), (14, 11), (13, 11), (12, 10),
        ),
    ),
    (296, 128): Style(
        size=(296, 128), margin=3, banner=52, word=58, rose=68, strip=12, mark=11, others=15, stripe=10,
        small=(12, 11, 10),
        facts=(
            (22, 16), (20, 15), (19, 14), (18, 13), (17, 12), (16, 12), (14, 11), (13, 11), (12, 10),
        ),
    ),
    (400, 300): Style(
        size=(400, 300), margin=5, banner=78, word=94, rose=212, strip=40, mark=22, others=24, stripe=16,
        small=(16, 15, 14, 13, 12), has_map=True,
        facts=(
            (36, 26), (34, 24), (32, 22), (30, 20), (26, 19), (24, 18), (22, 17), (20, 16), (18, 15),
            (16, 14), (15, 13), (14, 12), (13, 11),
        ),
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Inks:
    """Inks of one state: the banner's ground and ink, the page's ground and ink, and the wedges'."""

    banner: int
    word: int
    paper: int
    line: int
    wedge: int


def inks(state: State, accent: bool) -> Inks:
    """The third colour, where there is one, means one thing only: go to the radio."""
    if state is State.BLIND:
        return Inks(BLACK, WHITE, BLACK, WHITE, WHITE)
    if state is State.OPEN:
        call = ACCENT if accent else BLACK
        return Inks(call, WHITE, WHITE, BLACK, call)
    return Inks(WHITE, BLACK, WHITE, BLACK, BLACK)
