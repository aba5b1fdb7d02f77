"""The table of figures: from scores to rows of figure, bar and what was measured."""

import statistics
from collections.abc import Iterator, Sequence

from sentinel.rehearsal.kinds import AILING, NEVER_OPEN, OPENINGS
from sentinel.rehearsal.scoring import Score

Row = tuple[str, str, str]
# Shown, but outside the bars: they need the planetary index, or hours of patience.
OUTSIDE_THE_BARS = ("aurora", "tropo")


def rows(scores: Sequence[Score]) -> Iterator[Row]:
    """The table: figure, bar, measured."""
    by_kind: dict[str, list[Score]] = {}
    for each in scores:
        by_kind.setdefault(each.kind, []).append(each)
    never = [each for each in scores if each.kind in NEVER_OPEN]
    opening = [each for each in scores if each.kind in OPENINGS]
    if never:
        days = sum(each.days for each in never)
        yield "false openings", "0", f"{sum(each.false_openings for each in never)} in {days:.0f} days"
        for kind in NEVER_OPEN:
            if kind in by_kind:
                yield f"  stirring, {kind}, min/day", _STIRRING_BARS.get(kind, ""), _stirring(by_kind[kind])
        yield "  blind without cause, min/day", "0", f"{sum(each.blind_min for each in never) / days:.1f}"
    if opening:
        yield from _opening_rows(opening, by_kind)
    ailing = [each for each in scores if each.kind in AILING and each.blind_delays_s]
    if ailing:
        blind_s = [delay for each in ailing for delay in each.blind_delays_s]
        yield "blind after the silence, s", "0 to 15", _spread(blind_s)
        yield "recovery, s", "0 to 15", _spread([delay for each in ailing for delay in each.recoveries_s])
    if drifting := by_kind.get("drifting-clock"):
        noticed = sum(each.is_clock_noticed for each in drifting)
        yield "drifting clock noticed", "", share(noticed, len(drifting))


_STIRRING_BARS = {"dead-band": "<= 60", "false-flood": "<= 20"}


def _opening_rows(opening: Sequence[Score], by_kind: dict[str, list[Score]]) -> Iterator[Row]:
    scored = [each for each in opening if each.kind not in OUTSIDE_THE_BARS]
    yield "openings found", ">= 99.5 %", share(sum(e.found for e in scored), sum(e.due for e in scored))
    for kind in OPENINGS:
        if kind in by_kind:
            yield f"  {kind}", "", _kind_line(by_kind[kind])
    for figure, bar, field, digits in _QUANTILES:
        yield figure, bar, _quantiles([value for each in scored for value in getattr(each, field)], digits)
    yield "flaps", "0", str(sum(each.flaps for each in scored))
    modes = [right for each in scored for _, right in each.modes]
    yield "mode right", ">= 95 %", share(sum(modes), len(modes))
    yield "spurious beside a true opening", "0", str(sum(each.spurious for each in scored))
    yield "false openings by regulars", "0", str(sum(each.false_openings for each in scored))


# figure (median, 90th percentile, worst), bar, the score's field, digits
_QUANTILES = (
    ("delay, s", "15, 60, 150", "delays_s", 0),
    ("  since three were heard twice", "", "doubtless_delays_s", 0),
    ("linger, s", "480", "lingers_s", 0),
    ("bearing error, deg", "1, 5", "bearing_errors_deg", 1),
    ("heading error, deg", "1, 5", "heading_errors_deg", 1),
    ("nearest error, km", "100", "nearest_errors_km", 0),
    ("farthest error, km", "100", "farthest_errors_km", 0),
)


def _stirring(scores: Sequence[Score]) -> str:
    minutes = [each.stirring_min / each.days for each in scores]
    return f"{statistics.fmean(minutes):.1f}, worst {max(minutes):.0f}"


def _kind_line(scores: Sequence[Score]) -> str:
    due, found = sum(each.due for each in scores), sum(each.found for each in scores)
    modes = [right for each in scores for _, right in each.modes]
    delays = [delay for each in scores for delay in each.delays_s]
    return (
        f"{found} of {due}, delay {_quantiles(delays)}, mode {share(sum(modes), len(modes))}, "
        f"flaps {sum(each.flaps for each in scores)}, spurious {sum(each.spurious for each in scores)}"
    )


def _quantiles(values: Sequence[float], digits: int = 0) -> str:
    if not values:
        return "-"
    ordered = sorted(values)
    p90 = ordered[min(len(ordered) - 1, int(0.9 * len(ordered)))]
    return ", ".join(f"{value:.{digits}f}" for value in (statistics.median(ordered), p90, ordered[-1]))


def _spread(values: Sequence[float]) -> str:
    return (
        f"{min(values):.0f} to {max(values):.0f}, median {statistics.median(values):.0f}" if values else "-"
    )


def share(part: int, whole: int) -> str:
    return f"{100.0 * part / whole:.1f} % of {whole}" if whole else "-"
