"""Which of the things that happen are told to people: events, not noise. Pure.

An opening is told once, when it begins, and again only when it gets better than anything told of it before,
by the ranks below: so at most a handful of times, most openings once. Its end is told if its beginning was.
While nobody wants to hear (muted, quiet hours), nothing is told; an opening that outlives that is told then,
as it stands, once. What somebody has acknowledged is told no more.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from sentinel.watch.bulletin import Bulletin, Notable, Opening
from sentinel.watch.changes import Change, NotableHappened, OpeningChanged, Phase

RANKS = {
    "cw": 1,
    "not-worked-square": 1,
    "unusual": 2,
    "new-square": 2,
    "higher-band": 3,
    "voice": 3,
    "new-field": 4,
    "farthest": 4,
    "rare": 4,
    "not-worked-country": 5,
    "new-country": 6,
}
"""What is worth more to an operator, by the codes of ``watch.notable``: a choice, no source."""
OPENING_RANK = 1
"""That there is an opening at all."""
OTHER_RANK = 2
GAP_S = 120.0
"""Between two notices of one opening: of what comes together, only the best is told."""
STALE_S = 600.0
"""A notable event older than this is history: as long as the message of one lives."""
REMEMBERED = 500
"""Openings; more than a year's best month has."""


@dataclass(slots=True)
class _Known:
    """One opening and what people know of it: the best told so far and when; ``begun`` and ``waiting`` are
    still to be told."""

    begun: OpeningChanged | None
    told_s: float
    rank: int = OPENING_RANK
    waiting: Notable | None = None
    is_acknowledged: bool = False
    is_ended: bool = False


@dataclass(slots=True)
class Notices:
    """Feed it every change with the bulletin after it; it returns those to tell, in order."""

    _openings: dict[str, _Known] = field(default_factory=dict)

    def tell(self, changes: Iterable[Change], bulletin: Bulletin, *, is_wanted: bool) -> list[Change]:
        """What to tell, also of what waited. Without ``is_wanted`` these are only ends."""
        told: list[Change] = []
        for change in changes:
            if isinstance(change, OpeningChanged):
                if self._is_told_now(change):
                    told.append(change)
            elif isinstance(change, NotableHappened) and bulletin.at_s - change.notable.at_s <= STALE_S:
                if change.notable.opening_id is not None:
                    self._keep_best(change.notable.opening_id, change.notable)
                elif is_wanted:
                    told.append(change)
        return [*told, *(self._due(bulletin) if is_wanted else ())]

    def acknowledge(self, bulletin: Bulletin) -> None:
        """Somebody knows of the openings that live now, however good they get."""
        for opening in _living(bulletin):
            known = self._know(opening.id, None, bulletin.at_s)
            known.begun, known.is_acknowledged = None, True

    def _is_told_now(self, change: OpeningChanged) -> bool:
        """An end is, if the beginning was; a beginning waits until it is its turn."""
        id = change.opening.id
        if change.phase is Phase.BEGAN:
            self._know(id, change, change.at_s)
            return False
        known = self._openings.get(id)
        if known is None or known.is_ended:
            return False
        known.is_ended = True
        return known.begun is None

    def _keep_best(self, id: str, notable: Notable) -> None:
        known = self._openings.get(id)
        if known is not None and _rank(notable) > max(known.rank, _rank(known.waiting)):
            known.waiting = notable

    def _due(self, bulletin: Bulletin) -> Iterator[Change]:
        """Of each living opening its beginning, or what is better than all that was told of it."""
        for opening in _living(bulletin):
            known = self._openings.get(opening.id)
            if known is None or known.is_acknowledged:
                continue
            if known.begun is not None:
                begun, known.begun, known.told_s = known.begun, None, bulletin.at_s
                yield replace(begun, opening=opening)
            elif known.waiting is not None and bulletin.at_s - known.told_s >= GAP_S:
                notable, known.waiting = known.waiting, None
                if bulletin.at_s - notable.at_s <= STALE_S:
                    known.rank, known.told_s = _rank(notable), bulletin.at_s
                    yield NotableHappened(notable.at_s, notable)

    def _know(self, id: str, begun: OpeningChanged | None, at_s: float) -> _Known:
        known = self._openings.setdefault(id, _Known(begun, at_s))
        if len(self._openings) > REMEMBERED:
            del self._openings[next(iter(self._openings))]
        return known

    # --- over a restart ---------------------------------------------------------------------------

    def as_json(self) -> dict[str, Any]:
        """What people know of the openings that may still live, as numbers, texts and lists."""
        return {
            id: [known.begun is None, known.told_s, known.rank, known.is_acknowledged]
            for id, known in self._openings.items()
            if not known.is_ended
        }

    @staticmethod
    def from_json(data: Any, living: Iterable[Opening] = ()) -> "Notices":
        """As before the restart. Openings that lived then were told, unless ``data`` says otherwise."""
        notices = Notices()
        kept = data if isinstance(data, dict) else {}
        for opening in living:
            begun: OpeningChanged | None = OpeningChanged(opening.began_at_s, Phase.BEGAN, opening)
            try:
                is_told, told_s, rank, is_acknowledged = kept[opening.id]
                known = _Known(begun, float(told_s), int(rank), is_acknowledged=bool(is_acknowledged))
            except (KeyError, TypeError, ValueError):
                is_told, known = True, _Known(begun, opening.last_at_s)
            if is_told:
                known.begun = None
            notices._openings[opening.id] = known
        return notices


def _living(bulletin: Bulletin) -> Iterator[Opening]:
    return (opening for opening in bulletin.openings if opening.ended_at_s is None)


def _rank(notable: Notable | None) -> int:
    return 0 if notable is None else RANKS.get(notable.what, OTHER_RANK)
