"""How often this happens, whatever "this" is: the hours of chosen openings against the hours watched, pure.

``diary_statistics.hour_by_month`` counts the band's open state; here the openings themselves are counted, of
a direction, a mode or a span of time. Hours and months are UTC.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from sentinel.outputs.diary_rows import OpeningRow
from sentinel.outputs.diary_spans import HOUR_S, Span, pieces
from sentinel.outputs.diary_statistics import WATCHED, HourOfMonth
from sentinel.watch.bulletin import State
from sentinel.watch.experience import cell_of
from sentinel.watch.record import Cell


def between(spans: Iterable[Span], since_s: float | None, until_s: float | None) -> list[Span]:
    """The spans, cut to ``since_s`` < t <= ``until_s``; None means no bound."""
    first_s = float("-inf") if since_s is None else since_s
    last_s = float("inf") if until_s is None else until_s
    cut = (replace(s, since_s=max(s.since_s, first_s), until_s=min(s.until_s, last_s)) for s in spans)
    return [span for span in cut if span.lasts_s > 0]


def watched_h(spans: Iterable[Span]) -> float:
    """Hours in which the receiver could be judged."""
    return sum(span.lasts_s for span in spans if span.state in WATCHED) / HOUR_S


def hours_of(spans: Sequence[Span], rows: Sequence[OpeningRow]) -> tuple[HourOfMonth, ...]:
    """Hour by month, for these openings alone: always 288 cells, January's hour 0 first.

    Openings that overlap count once in the open time, and no cell is open longer than it was watched.
    """
    watched_s = _seconds_by_cell(span for span in spans if span.state in WATCHED)
    stirring_s = _seconds_by_cell(span for span in spans if span.state is State.STIRRING)
    open_s = _seconds_by_cell(_lives(rows))
    began = Counter(cell_of(row.opening.began_at_s) for row in rows)
    return tuple(
        HourOfMonth(*cell, watched_s[cell], stirring_s[cell], min(open_s[cell], watched_s[cell]), began[cell])
        for cell in ((month, hour) for month in range(1, 13) for hour in range(24))
    )


def _lives(rows: Sequence[OpeningRow]) -> Iterator[Span]:
    """From each opening's beginning to its last station; those that overlap as one."""
    until_s = float("-inf")
    for opening in sorted((row.opening for row in rows), key=lambda each: each.began_at_s):
        since_s = max(until_s, opening.began_at_s)
        if opening.last_at_s > since_s:
            yield Span(since_s, opening.last_at_s, State.OPEN)
            until_s = opening.last_at_s


def _seconds_by_cell(spans: Iterable[Span]) -> dict[Cell, float]:
    lasted: dict[Cell, float] = defaultdict(float)
    for start_s, piece in pieces(spans, HOUR_S):
        lasted[cell_of(start_s)] += piece.lasts_s
    return lasted
