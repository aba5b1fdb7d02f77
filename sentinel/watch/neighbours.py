"""What others nearby hear, weighed: a hint to look, never proof of an opening here.

Two kinds of words come in. A node says how its own band stands (``NeighbourReport``); and somebody reports
that A was heard by B (``NeighbourHeard``), which makes every B a neighbour too. Each neighbour has one vote,
however often it speaks. All of it is untrusted, so nothing in here reaches the stations, areas and openings
that decide what is open: the most that any number of liars can bring about is ``stirring``.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

from sentinel.sky.circular import circular_mean_deg
from sentinel.sky.geodesy import path_between
from sentinel.trade.locator import center_of, neighbour_squares, square_of
from sentinel.watch.bulletin import State
from sentinel.watch.sentences import minutes

LIFE_S = 15 * 60.0
"""How long a word counts: nodes speak every 5 minutes, so two may be lost; the trade's window for spots."""
HOLD_OPEN_S = 5 * 60.0
"""A neighbour that takes back its ``open`` is held to it for so long: nobody can make us flicker."""
SECTOR_DEG = 90.0
"""Neighbours 300 km apart see a cloud 500 km away up to 35 degrees apart; a quarter holds one opening."""
LEAST_TOGETHER = 2
LEAST_SHARE = 1 / 3
"""One liar among several is outvoted. A lone neighbour counts while nobody contradicts it."""
OPEN_STATIONS = 3
"""So many far stations in one direction make a reported receiver's band open, as they would make ours."""
LASTING_S = 60 * 60.0
"""An Es cloud drifts at 20 to 130 m/s (Maeda and Heki, 2015): at the middling speed it crosses 270 km in an
hour, so who still hears nothing of it then has another reason."""
MOST_SQUARES = 128
"""A reach of 500 km has 52 squares at 50 degrees and 93 at 70; nearer the poles the nearest must do."""
MOST_NEIGHBOURS = 400
MOST_STATIONS = 32


@dataclass(frozen=True, slots=True)
class NeighbourReport:
    """A node's word on its own band, which came at ``at_s`` and was said at ``said_at_s`` (event time).

    ``locator`` is its four-character square, ``bearing_deg`` its busiest direction. Blind, or gone, it has
    no vote.
    """

    at_s: float
    node: str
    locator: str
    state: State
    said_at_s: float
    bearing_deg: float | None = None


@dataclass(frozen=True, slots=True)
class NeighbourHeard:
    """Somebody reports that ``receiver`` heard ``call`` at ``heard_at_s``; the report came at ``at_s``.

    ``uncertainty_km`` is what a place that is only known by its prefix leaves open.
    """

    at_s: float
    receiver: str
    receiver_locator: str
    call: str
    lat_deg: float
    lon_deg: float
    heard_at_s: float
    uncertainty_km: float = 0.0


@dataclass(frozen=True, slots=True)
class Hint:
    """``open`` of ``of`` neighbours that can judge have the band open within one quarter of the compass."""

    open: int
    of: int
    bearing_deg: float


@dataclass(frozen=True, slots=True)
class _Vote:
    """One neighbour that can judge; ``bearing_deg`` is None when nothing is open for it."""

    bearing_deg: float | None


@dataclass(slots=True)
class _Node:
    newest: NeighbourReport
    newest_open: NeighbourReport | None = None

    def hear(self, report: NeighbourReport) -> None:
        self.newest = max(self.newest, report, key=_order)
        if report.state is State.OPEN and report.bearing_deg is not None:
            self.newest_open = max(self.newest_open or report, report, key=_order)

    @property
    def last_s(self) -> float:
        return self.newest.said_at_s

    def changes_s(self) -> Iterator[float]:
        yield self.newest.said_at_s
        yield self.newest.said_at_s + LIFE_S
        if self.newest_open is not None:
            yield self.newest_open.said_at_s + HOLD_OPEN_S

    def vote(self, at_s: float) -> _Vote | None:
        if at_s < self.newest.said_at_s:
            return None  # the core goes through what was before once more
        told = self.newest_open
        if told is not None:
            life_s = LIFE_S if told == self.newest else HOLD_OPEN_S
            if at_s < told.said_at_s + life_s:
                return _Vote(told.bearing_deg)
        if self.newest.state is State.BLIND or at_s >= self.newest.said_at_s + LIFE_S:
            return None
        return _Vote(None)

    def move_clock(self, by_s: float, not_after_s: float) -> None:
        self.newest = _moved(self.newest, by_s, not_after_s)
        if self.newest_open is not None:
            self.newest_open = _moved(self.newest_open, by_s, not_after_s)


@dataclass(slots=True)
class _Receiver:
    last_s: float
    far: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Call to when it was heard and the bearing from the receiver, degrees."""

    def hear(self, call: str, heard_at_s: float, bearing_deg: float | None) -> None:
        self.last_s = max(self.last_s, heard_at_s)
        if bearing_deg is None:
            return
        heard = (heard_at_s, bearing_deg)
        self.far[call] = max(self.far.get(call, heard), heard)
        if len(self.far) > MOST_STATIONS:
            del self.far[min(self.far, key=lambda known: (self.far[known][0], known))]

    def changes_s(self) -> Iterator[float]:
        yield self.last_s
        yield self.last_s + LIFE_S
        yield from (heard_at_s + LIFE_S for heard_at_s, _ in self.far.values())

    def vote(self, at_s: float) -> _Vote | None:
        if not self.last_s <= at_s < self.last_s + LIFE_S:
            return None
        group = together([bearing for heard_at_s, bearing in self.far.values() if at_s < heard_at_s + LIFE_S])
        return _Vote(circular_mean_deg(group) if len(group) >= OPEN_STATIONS else None)

    def move_clock(self, by_s: float, not_after_s: float) -> None:
        self.last_s = min(self.last_s + by_s, not_after_s)
        self.far = {call: (min(at_s + by_s, not_after_s), deg) for call, (at_s, deg) in self.far.items()}


class Neighbourhood:
    """The neighbours within ``reach_km``. Bounded; words of one moment may come in any order."""

    def __init__(self, home_locator: str, reach_km: float, far_km: float) -> None:
        self._squares = frozenset(squares_within(home_locator, reach_km))
        self._reach_km = reach_km
        self._far_km = far_km
        self._known: dict[tuple[bool, str], _Node | _Receiver] = {}
        self._missed_s = 0.0
        self._missing_since_s: float | None = None
        self.hint: Hint | None = None
        """What the neighbours said together when last judged."""
        self.due_s = float("inf")
        """When they are to be judged again."""

    # --- in ---------------------------------------------------------------------------------------

    def hear(self, event: NeighbourReport | NeighbourHeard, now_s: float) -> None:
        """Take one word at ``now_s``, event time; ignored from beyond the reach."""
        if isinstance(event, NeighbourReport):
            is_heard = self._hear_node(replace(event, said_at_s=min(event.said_at_s, event.at_s)))
        else:
            is_heard = self._hear_receiver(event)
        if is_heard:
            self.due_s = min(self.due_s, now_s)

    def _hear_node(self, report: NeighbourReport) -> bool:
        if not self._is_near(report.locator):
            return False
        known = self._known.setdefault((True, report.node), _Node(report))
        assert isinstance(known, _Node)
        known.hear(report)
        self._shed()
        return True

    def _hear_receiver(self, heard: NeighbourHeard) -> bool:
        if not self._is_near(heard.receiver_locator):
            return False
        place = center_of(heard.receiver_locator)
        path = path_between(*place, heard.lat_deg, heard.lon_deg)
        is_far = path.distance_km - heard.uncertainty_km >= self._far_km
        heard_at_s = min(heard.heard_at_s, heard.at_s)
        known = self._known.setdefault((False, heard.receiver), _Receiver(heard_at_s))
        assert isinstance(known, _Receiver)
        known.hear(heard.call, heard_at_s, path.bearing_deg if is_far else None)
        self._shed()
        return True

    def _is_near(self, locator: str) -> bool:
        return square_of(locator) in self._squares

    def _shed(self) -> None:
        if len(self._known) > MOST_NEIGHBOURS:
            del self._known[min(self._known, key=lambda key: (self._known[key].last_s, key))]

    def look_again(self, now_s: float) -> None:
        """The core begins again at ``now_s``: what was said still counts."""
        self.due_s = now_s

    def move_clock(self, by_s: float = 0.0, not_after_s: float = float("inf")) -> None:
        """Event time was ``by_s`` too early all along, and nothing was said after ``not_after_s``."""
        for known in self._known.values():
            known.move_clock(by_s, not_after_s)
        self._missing_since_s = None

    # --- out --------------------------------------------------------------------------------------

    def judge(self, at_s: float, *, hears_far: bool, is_blind: bool) -> Hint | None:
        """What the neighbours say together at ``at_s``, if it is enough to stir.

        ``hears_far``: something far comes through here too. ``is_blind``: nobody knows whether it does.
        """
        if not self._known:  # most watches have no neighbours
            self._missed_s = 0.0 if hears_far else self._missed_by(at_s)
            self.hint, self._missing_since_s, self.due_s = None, None, float("inf")
            return None
        self._known = {
            key: known
            for key, known in self._known.items()
            if any(moment > at_s for moment in known.changes_s())
        }
        self.hint = _weigh([vote for known in self._known.values() if (vote := known.vote(at_s)) is not None])
        self._missed_s = 0.0 if hears_far else self._missed_by(at_s)
        is_missing = self.hint is not None and self.hint.open >= LEAST_TOGETHER
        self._missing_since_s = at_s if is_missing and not hears_far and not is_blind else None
        self.due_s = min((moment for moment in self.changes_s() if moment > at_s), default=float("inf"))
        return self.hint

    def changes_s(self) -> Iterator[float]:
        """When a vote changes without a further word."""
        return (moment for known in self._known.values() for moment in known.changes_s())

    def notes(self, at_s: float) -> tuple[str, ...]:
        """What an operator should look at: a difference that has lasted."""
        missed_s = self._missed_by(at_s)
        if missed_s < LASTING_S:
            return ()
        lasted = f"Neighbours within {self._reach_km:.0f} km were open for {minutes(missed_s)}"
        return (f"{lasted} while nothing far came through here: check antenna, feed line and receiver.",)

    def _missed_by(self, at_s: float) -> float:
        """For how long the neighbours were open, without us, since something far last came through here."""
        since_s = self._missing_since_s
        return self._missed_s + (0.0 if since_s is None else max(0.0, at_s - since_s))


@lru_cache(maxsize=8)
def squares_within(home_locator: str, reach_km: float) -> tuple[str, ...]:
    """The squares whose centres lie within ``reach_km`` of the own square's, nearest first, the own included.

    Measured from the square, not from home, so that what a node listens to tells no finer place than what it
    says.
    """
    own = square_of(home_locator)
    distance_km = {own: 0.0}
    edge = [own]
    while edge:
        found = {square for inner in edge for square in neighbour_squares(inner)} - distance_km.keys()
        apart_km = {square: path_between(*center_of(own), *center_of(square)).distance_km for square in found}
        distance_km |= {square: km for square, km in apart_km.items() if km <= reach_km}
        edge = [square for square in found if square in distance_km]
    return tuple(sorted(distance_km, key=lambda square: (distance_km[square], square)))[:MOST_SQUARES]


def together(bearings_deg: Iterable[float]) -> Sequence[float]:
    """The most bearings within one ``SECTOR_DEG``; of equally many, the first clockwise from north."""
    ordered = sorted(bearings_deg)
    around = [*ordered, *(bearing + 360.0 for bearing in ordered)]
    best: Sequence[float] = ()
    end = 0
    for start in range(len(ordered)):
        end = max(end, start)
        while end < start + len(ordered) and around[end] - around[start] <= SECTOR_DEG:
            end += 1
        if end - start > len(best):
            best = around[start:end]
    return best


def _weigh(votes: Sequence[_Vote]) -> Hint | None:
    group = together([vote.bearing_deg for vote in votes if vote.bearing_deg is not None])
    if not group:
        return None
    is_enough = len(group) >= LEAST_TOGETHER and len(group) >= LEAST_SHARE * len(votes)
    if not is_enough and len(group) < len(votes):
        return None
    return Hint(len(group), len(votes), circular_mean_deg(group))


def _order(report: NeighbourReport) -> tuple[float, str, float, str]:
    """Which of two words of one node counts: the newer; of one moment the same in any order of arrival."""
    bearing_deg = -1.0 if report.bearing_deg is None else report.bearing_deg
    return report.said_at_s, report.state.value, bearing_deg, report.locator


def _moved(report: NeighbourReport, by_s: float, not_after_s: float) -> NeighbourReport:
    return replace(report, said_at_s=min(report.said_at_s + by_s, not_after_s))
