"""Puts the decodes of a log in the order of their time, in bounded memory.

Decoders print late passes after the next slot has begun, two logs overlap, and now and then a line carries a
time from nowhere. Neighbouring lines are sorted; a line that jumps ahead alone is dropped and counted; lines
printed a second time are dropped; and when all lines come from an earlier time, the clock was set back, and
time goes on from where it was.
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


@dataclass(slots=True)
class Timeline:
    """Sorts one stream. ``late`` counts lines dropped because their time was not believed or had passed,
    ``repeated`` lines printed twice, ``steps`` clocks set back."""

    late: int = 0
    repeated: int = 0
    steps: int = 0
    _shift_s: float = 0.0
    _newest_s: float | None = None
    _run: list[Decode] = field(default_factory=list)
    _seen: OrderedDict[int, None] = field(default_factory=OrderedDict)

    def in_order(self, decodes: Iterable[Decode]) -> Iterator[Decode]:
        """The decodes by time; those of equal time keep their order."""
        held: list[tuple[float, int, Decode]] = []
        newest_s = float("-inf")
        for number, decode in enumerate(self._believed(self._without_jumps(decodes))):
            newest_s = max(newest_s, decode.at_s)
            heapq.heappush(held, (decode.at_s, number, decode))
            while held and (held[0][0] <= newest_s - HORIZON_S or len(held) > MOST_HELD):
                yield heapq.heappop(held)[2]
        while held:
            yield heapq.heappop(held)[2]

    def _without_jumps(self, decodes: Iterable[Decode]) -> Iterator[Decode]:
        """Leave out a line far ahead of its neighbours, the first line included."""
        newest_s = float("-inf")
        suspect: Decode | None = None
        stream = iter(decodes)
        for decode in stream:
            if suspect is None:
                kept: tuple[Decode, ...] = (decode,)
            elif decode.at_s > suspect.at_s - JUMP_S:
                kept = (suspect, decode)
            elif newest_s == float("-inf") and (third := next(stream, None)) is not None:
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

    def _believed(self, decodes: Iterable[Decode]) -> Iterator[Decode]:
        """Leave out repeated and stale lines; follow a clock that was set back."""
        for decode in decodes:
            at_s = decode.at_s + self._shift_s
            if self._newest_s is not None and at_s < self._newest_s - HORIZON_S:
                yield from self._stale(decode)
                continue
            self.late += len(self._run)
            self._run.clear()
            self._newest_s = at_s if self._newest_s is None else max(self._newest_s, at_s)
            self._remember(decode)
            yield decode if self._shift_s == 0.0 else replace(decode, at_s=at_s)

    def _stale(self, decode: Decode) -> Iterator[Decode]:
        if hash((decode.at_s, decode.message)) in self._seen:
            self.repeated += 1
            return
        self._run.append(decode)
        if len(self._run) < STEP_LINES:
            return
        assert self._newest_s is not None
        self.steps += 1
        run, self._run = self._run, []
        self._shift_s = self._newest_s - min(each.at_s for each in run)
        for each in run:
            at_s = each.at_s + self._shift_s
            self._newest_s = max(self._newest_s, at_s)
            self._remember(each)
            yield replace(each, at_s=at_s)

    def _remember(self, decode: Decode) -> None:
        self._seen[hash((decode.at_s, decode.message))] = None
        if len(self._seen) > REMEMBERED_LINES:
            self._seen.popitem(last=False)
