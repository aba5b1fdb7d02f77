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
    word: tuple[int, ...]  # sizes of the state's word
    rose: int  # side of the rose's box; its height is what the banner leaves
    strip: int  # height of the strip of marks
    mark: int  # side of one mark
    small: tuple[int, ...]  # sizes of the strip's text
    facts: Sizes
    stripe: int  # pitch of the stripes of a blind picture
    has_map: bool = False

    @property
    def sheet(self) -> Box:
        return Box(0, 0, *self.size)


STYLES = {
    (250, 122): Style(
        size=(250, 122), margin=3, banner=50, word=(62, 58, 54), rose=66, strip=13, mark=11,
        small=(11, 10), facts=((17, 14), (16, 13), (15, 12), (14, 12), (13, 11), (12, 10), (11, 10), (10, 9)),
        stripe=10,
    ),
    (296, 128): Style(
        size=(296, 128), margin=3, banner=54, word=(68, 64, 58), rose=69, strip=13, mark=11,
        small=(12, 11, 10), facts=((18, 15), (17, 14), (16, 13), (15, 12), (13, 11), (12, 10), (11, 10), (10, 9)),
        stripe=10,
    ),
    (400, 300): Style(
        size=(400, 300), margin=5, banner=78, word=(98, 92, 84), rose=214, strip=22, mark=22,
        small=(15, 14, 13, 12), facts=((24, 18), (22, 17), (20, 16), (18, 15), (17, 14), (16, 13), (14, 12), (12, 11)),
        stripe=16, has_map=True,
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
