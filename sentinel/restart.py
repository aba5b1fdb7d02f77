"""What a watch carries over a restart, and how it begins again from that. Pure.

The core is begun again from the decodes that it was fed of late (``recent``) and from what the diary knows of
earlier days. What that cannot bring back, such as since when a quiet older than an hour has lasted, stands in
a ``Standing``, which is kept as the diary's snapshot.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from sentinel.recent import Beginning
from sentinel.sky.circular import angle_between_deg
from sentinel.watch.bulletin import Bulletin, Opening, State
from sentinel.watch.changes import Change, OpeningChanged, StateChanged
from sentinel.watch.decode import Decode
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.settings import WatchSettings
from sentinel.watch.watch import Watch

ODD_WALL_S = 600.0
"""A decoder's lines lag the wall clock by a slot or a few. By more, they stamp by another clock."""
SAME_OPENING_DEG = 30.0
"""Openings of one moment are at least this far apart, or they would be one."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How a watch stood: its state, since when and after which, and when the watching began.

    ``shift_s`` is what was added to the lines' stamps, ``wall_ahead_s`` how far the wall clock was ahead of
    event time. ``beginnings`` are those of the living openings, by name.
    """

    state: State
    since_s: float
    previous: State | None
    started_s: float | None
    shift_s: float = 0.0
    wall_ahead_s: float = 0.0
    beginnings: Mapping[str, Beginning] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Numbers, texts and lists only."""
        return {
            "state": self.state.value,
            "since_s": self.since_s,
            "previous": self.previous,
            "started_s": self.started_s,
            "shift_s": self.shift_s,
            "wall_ahead_s": self.wall_ahead_s,
            "beginnings": {id: [each.since_s, each.told_s] for id, each in self.beginnings.items()},
        }

    @staticmethod
    def from_json(data: Any) -> "Standing | None":
        """None for what no watch of ours has written."""
        try:
            return Standing(
                State(data["state"]),
                float(data["since_s"]),
                None if data["previous"] is None else State(data["previous"]),
                None if data["started_s"] is None else float(data["started_s"]),
                float(data["shift_s"]),
                float(data["wall_ahead_s"]),
                {str(id): Beginning(float(a), float(b)) for id, (a, b) in data["beginnings"].items()},
            )
        except (KeyError, TypeError, ValueError, AttributeError):
            return None


@dataclass(frozen=True, slots=True)
class Memory:
    """All that a watch begins from; empty at the very first start."""

    knowledge: Knowledge = field(default_factory=Knowledge)
    decodes: Sequence[Decode] = ()
    standing: Standing | None = None
    live_openings: tuple[Opening, ...] = ()
    watched_until_s: float | None = None


def starting_time_s(memory: Memory, wall_s: float, is_wall_doubtful: bool) -> float:
    """Event time at a start, seconds since 1970: never before what the last watch saw.

    Where the wall clock and the lines disagreed before, they will again. A wall clock that is known not to be
    synchronised only counts for want of anything better.
    """
    newest_s = max((each.at_s for each in memory.decodes), default=-math.inf)
    before_s = max(newest_s, -math.inf if memory.watched_until_s is None else memory.watched_until_s)
    ahead_s = memory.standing.wall_ahead_s if memory.standing else 0.0
    if is_wall_doubtful and math.isfinite(before_s):
        return before_s
    return max(wall_s - (ahead_s if abs(ahead_s) > ODD_WALL_S else 0.0), before_s)


def moved(memory: Memory, by_s: float) -> Memory:
    """The memory as it would be had the clock stood ``by_s`` later all along. Openings keep their names."""
    if by_s == 0.0:
        return memory
    standing = memory.standing
    if standing is not None:
        standing = replace(
            standing,
            since_s=standing.since_s + by_s,
            started_s=None if standing.started_s is None else standing.started_s + by_s,
            shift_s=0.0,
            wall_ahead_s=standing.wall_ahead_s - by_s,
            beginnings={
                id: Beginning(each.since_s + by_s, each.told_s + by_s)
                for id, each in standing.beginnings.items()
            },
        )
    learned = memory.knowledge.learned
    return replace(
        memory,
        knowledge=replace(memory.knowledge, learned=learned and learned.moved(by_s)),
        decodes=tuple(replace(each, at_s=each.at_s + by_s) for each in memory.decodes),
        standing=standing,
        live_openings=tuple(
            replace(each, began_at_s=each.began_at_s + by_s, last_at_s=each.last_at_s + by_s)
            for each in memory.live_openings
        ),
        watched_until_s=None if memory.watched_until_s is None else memory.watched_until_s + by_s,
    )


def begin_again(
    settings: WatchSettings, knowledge: Knowledge, decodes: Iterable[Decode], started_s: float | None
) -> Watch:
    """A watch that was fed ``decodes``; the last instant among them is still to be judged."""
    watch = Watch(settings, knowledge)
    for decode in decodes:
        if started_s is not None and started_s < decode.at_s:
            watch.tick(started_s)
        started_s = None
        watch.feed(decode)
    if started_s is not None:
        watch.tick(started_s)
    return watch


class Continuity:
    """Makes a watch that began again speak as the one before: the same openings, the state as it was."""

    def __init__(self, standing: Standing | None = None, openings: Sequence[Opening] = ()) -> None:
        self._standing = standing
        self._unmatched = list(openings)
        self._before: dict[str, Opening] = {}

    def opening(self, opening: Opening) -> Opening:
        """``opening`` under the name that it had before, if it is one of those that lived then."""
        before = self._before.get(opening.id) or self._match(opening)
        if before is None:
            return opening
        if self._is_as_before(opening, before):
            del self._before[opening.id]  # the watch has come back to it by itself
            return opening
        return replace(
            opening,
            id=before.id,
            began_at_s=before.began_at_s,
            peak_at_s=opening.peak_at_s if opening.peak_stations > before.peak_stations else before.peak_at_s,
            peak_stations=max(opening.peak_stations, before.peak_stations),
            total_stations=max(opening.total_stations, before.total_stations),
            nearest_km=min(opening.nearest_km, before.nearest_km),
            farthest_km=max(opening.farthest_km, before.farthest_km),
        )

    def bulletin(self, bulletin: Bulletin) -> Bulletin:
        """``bulletin`` with the openings' own names and the state's own age."""
        if self._before or self._unmatched:
            bulletin = replace(bulletin, openings=tuple(map(self.opening, bulletin.openings)))
        standing = self._standing
        if standing is None or bulletin.state is not standing.state or standing.since_s > bulletin.at_s:
            return bulletin  # the last case: that watch went by a clock that was wrong
        return replace(bulletin, since_s=standing.since_s, previous=standing.previous)

    def changes(self, changes: Iterable[Change]) -> list[Change]:
        """``changes`` without those that lead to where the watch stood anyway."""
        return [kept for change in changes if (kept := self._change(change)) is not None]

    def _change(self, change: Change) -> Change | None:
        if isinstance(change, OpeningChanged):
            return replace(change, opening=self.opening(change.opening))
        if not isinstance(change, StateChanged) or self._standing is None:
            return change
        standing, bulletin = self._standing, change.bulletin
        if bulletin.state is standing.state:
            return None
        self._standing = None
        previous = standing.state if bulletin.previous is None else bulletin.previous
        return replace(change, bulletin=replace(bulletin, previous=previous))

    @property
    def lost_openings(self) -> tuple[Opening, ...]:
        """Those that have not been seen again yet."""
        return tuple(self._unmatched)

    def let_go(self, opening: Opening) -> None:
        """It is over: no opening that is still to come can be this one."""
        self._unmatched.remove(opening)

    @staticmethod
    def _is_as_before(now: Opening, before: Opening) -> bool:
        return now.id == before.id and now.total_stations >= before.total_stations

    def _match(self, opening: Opening) -> Opening | None:
        near = [each for each in self._unmatched if _are_one(each, opening)]
        if not near:
            return None
        best = min(near, key=lambda each: (each.id != opening.id, _apart_deg(each, opening)))
        self._unmatched.remove(best)
        self._before[opening.id] = best
        return best


def _are_one(before: Opening, now: Opening) -> bool:
    if before.id == now.id:
        return True
    has_met = now.began_at_s <= before.last_at_s
    return has_met and _apart_deg(before, now) < SAME_OPENING_DEG


def _apart_deg(before: Opening, now: Opening) -> float:
    return angle_between_deg(before.bearing_deg, now.bearing_deg)
