"""Puts the decodes of a log in the order of their time, in bounded memory.

Decoders print late passes after the next slot has begun, two logs overlap, and now and then a line carries a
time from nowhere. Neighbouring lines are sorted; a line that jumps ahead alone is dropped and counted; lines
printed a second time are dropped; and when all lines come from an earlier time, the clock was set back, and
time goes on from where it was.

Most lines are stamped like the one before; they go the short way, since a replay has millions of them.
"""

import heapq
from collections import OrderedDict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

from sentinel.watch.decode import Decode

HORIZON_S = 60.0
"""Lines may be printed this much out of order: four slots, as the core allows late lines."""
JUMP_S = 6 * 3600.0
"""After a longer gap a line must not be followed by one from before it: no decoder's night ends so."""
STEP_LINES = 30
"""So many new lines in a row from an earlier time are no stragglers: the clock was set back."""
MOST_HELD = 20_000
REMEMBERED_LINES = 20_000
NEVER_S = float("-inf")


class _Held:
    """The decodes that wait for late ones, one list for each stamp."""

    def __init__(self) -> None:
        self.newest_s = NEVER_S
        self.is_due = False
        self._by_stamp: dict[float, list[Decode]] = {}
        self._stamps: list[float] = []
        self._newest: list[Decode] = []
        self._count = 0

    def add(self, decode: Decode) -> None:
        self._count += 1
        at_s = decode.at_s
        if at_s == self.newest_s and self._newest:
            self._newest.append(decode)
            self.is_due = self._count > MOST_HELD
            return
        stamped = self._by_stamp.get(at_s)
        if stamped is None:
            stamped = self._by_stamp[at_s] = []
            heapq.heappush(self._stamps, at_s)
        stamped.append(decode)
        if at_s >= self.newest_s:
            self.newest_s, self._newest = at_s, stamped
        self.is_due = self._stamps[0] <= self.newest_s - HORIZON_S or self._count > MOST_HELD

    def due(self) -> Iterator[Decode]:
        """What nothing can come before any more."""
        while self._stamps and (self._stamps[0] <= self.newest_s - HORIZON_S or self._count > MOST_HELD):
            yield from self._oldest()
        self.is_due = False

    def rest(self) -> Iterator[Decode]:
        """Everything: the stream has ended."""
        while self._stamps:
            yield from self._oldest()

    def _oldest(self) -> list[Decode]:
        at_s = heapq.heappop(self._stamps)
        oldest = self._by_stamp.pop(at_s)
        self._count -= len(oldest)
        if oldest is self._newest:  # thousands of one stamp: those that follow begin another list
            self._newest = []
        return oldest


class _Seen:
    """The lines of late, to know those again that are printed twice. Looked up only when a line is stale."""

    def __init__(self) -> None:
        self._known: OrderedDict[int, None] = OrderedDict()
        self._latest: list[int] = []

    def add(self, decode: Decode) -> None:
        self._latest.append(hash((decode.at_s, decode.message)))
        if len(self._latest) > 2 * REMEMBERED_LINES:
            del self._latest[:-REMEMBERED_LINES]

    def __contains__(self, decode: Decode) -> bool:
        for each in self._latest[-REMEMBERED_LINES:]:
            self._known[each] = None
        self._latest.clear()
        while len(self._known) > REMEMBERED_LINES:
            self._known.popitem(last=False)
        return hash((decode.at_s, decode.message)) in self._known


@dataclass(slots=True)
class Timeline:
    """Sorts one stream. ``late`` counts lines dropped because their time was not believed or had passed,
    ``repeated`` lines printed twice, ``steps`` clocks set back."""

    late: int = 0
    repeated: int = 0
    steps: int = 0
    _held: _Held = field(default_factory=_Held)
    _seen: _Seen = field(default_factory=_Seen)
    _shift_s: float = 0.0
    _run: list[Decode] = field(default_factory=list)

    def in_order(self, decodes: Iterable[Decode]) -> Iterator[Decode]:
        """The decodes by time; those of equal time keep their order."""
        held, seen = self._held, self._seen
        for decode in self._without_jumps(decodes):
            if decode.at_s == held.newest_s and self._shift_s == 0.0:
                if self._run:
                    self._forget_run()
                seen.add(decode)
                held.add(decode)
            else:
                for believed in self._believed(decode):
                    held.add(believed)
            if held.is_due:
                yield from held.due()
        yield from held.rest()

    def _without_jumps(self, decodes: Iterable[Decode]) -> Iterator[Decode]:
        """Leave out a line far ahead of its neighbours, the first line included."""
        newest_s = NEVER_S
        suspect: Decode | None = None
        stream = iter(decodes)
        for decode in stream:
            if suspect is None:
                if decode.at_s <= newest_s + JUMP_S:
                    if decode.at_s > newest_s:
                        newest_s = decode.at_s
                    yield decode
                    continue
                kept: tuple[Decode, ...] = (decode,)
            elif decode.at_s > suspect.at_s - JUMP_S:
                kept = (suspect, decode)
            elif newest_s == NEVER_S and (third := next(stream, None)) is not None:
                # Two first lines contradict each other: the third says which is from nowhere.
                is_with_first = abs(third.at_s - suspect.at_s) < abs(third.at_s - decode.at_s)
                kept = (suspect if is_with_first else decode, third)
                self.late += 1
            else:
                kept = (decode,)
                self.late += 1
            suspect = None
            for number, each in enumerate(kept, 1):
                if number == len(kept) and each.at_s > newest_s + JUMP_S:
                    suspect = each
                else:
                    newest_s = max(newest_s, each.at_s)
                    yield each
        if suspect is not None:
            yield suspect

    def _believed(self, decode: Decode) -> Iterator[Decode]:
        """Leave out repeated and stale lines; follow a clock that was set back."""
        at_s = decode.at_s + self._shift_s
        if at_s < self._held.newest_s - HORIZON_S:
            yield from self._stale(decode)
            return
        self._forget_run()
        self._seen.add(decode)
        yield decode if self._shift_s == 0.0 else replace(decode, at_s=at_s)

    def _stale(self, decode: Decode) -> Iterator[Decode]:
        if decode in self._seen:
            self.repeated += 1
            return
        self._run.append(decode)
        if len(self._run) < STEP_LINES:
            return
        self.steps += 1
        run, self._run = self._run, []
        self._shift_s = self._held.newest_s - min(each.at_s for each in run)
        for each in run:
            self._seen.add(each)
            yield replace(each, at_s=each.at_s + self._shift_s)

    def _forget_run(self) -> None:
        if self._run:
            self.late += len(self._run)
            self._run.clear()
