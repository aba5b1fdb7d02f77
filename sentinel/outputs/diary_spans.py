"""Spans of time in one state, pure: state changes and downtime to spans, and spans to hours.

A state lasts until the next change, and the last one until the watch was last known to be alive. Downtime
cuts into whatever the changes say: a log read after a restart may well tell what was on the air meanwhile,
but nobody was told, so for the diary that time was blind.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from sentinel.outputs.diary_rows import NOT_RUNNING, DowntimeRow, StateRow
from sentinel.watch.bulletin import State

HOUR_S = 3600
DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class Span:
    """The band was in ``state`` for ``since_s`` <= t < ``until_s``."""

    since_s: float
    until_s: float
    state: State
    because: str = ""
    blind_reason: str | None = None

    @property
    def lasts_s(self) -> float:
        """Its length in seconds."""
        return self.until_s - self.since_s

    @property
    def is_downtime(self) -> bool:
        """The watch itself was not running."""
        return self.blind_reason == NOT_RUNNING


def spans_of(
    changes: Iterable[StateRow], downtimes: Iterable[DowntimeRow], alive_until_s: float
) -> list[Span]:
    """One band's spans in order of time, none empty, none overlapping."""
    down = _merged(downtimes)
    up: list[Span] = []
    for now, then in pairwise([*sorted(changes, key=lambda change: change.at_s), None]):
        assert now is not None
        until_s = alive_until_s if then is None else then.at_s
        up.extend(_without(Span(now.at_s, until_s, now.state, now.because, now.blind_reason), down))
    return sorted([*up, *down], key=lambda span: span.since_s)


def pieces(spans: Iterable[Span], step_s: int = HOUR_S) -> Iterator[tuple[int, Span]]:
    """Cut spans at whole multiples of ``step_s``: (start of the step, the piece that falls into it)."""
    for span in spans:
        since_s = span.since_s
        while since_s < span.until_s:
            step_start_s = int(since_s // step_s) * step_s
            until_s = min(step_start_s + step_s, span.until_s)
            yield step_start_s, replace(span, since_s=since_s, until_s=until_s)
            since_s = until_s


def _merged(downtimes: Iterable[DowntimeRow]) -> list[Span]:
    merged: list[Span] = []
    for row in sorted(downtimes, key=lambda row: row.since_s):
        if merged and row.since_s <= merged[-1].until_s:
            merged[-1] = replace(merged[-1], until_s=max(merged[-1].until_s, row.until_s))
        elif row.since_s < row.until_s:
            merged.append(
                Span(row.since_s, row.until_s, State.BLIND, "Sentinel was not running", NOT_RUNNING)
            )
    return merged


def _without(span: Span, down: Sequence[Span]) -> Iterator[Span]:
    since_s = span.since_s
    for gap in down:
        if gap.until_s <= since_s or gap.since_s >= span.until_s:
            continue
        if since_s < gap.since_s:
            yield replace(span, since_s=since_s, until_s=gap.since_s)
        since_s = gap.until_s
    if since_s < span.until_s:
        yield replace(span, since_s=since_s)
