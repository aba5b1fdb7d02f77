"""From the true decodes of a scenario to its openings, by the meaning of the word.

Open means at least 3 distinct far stations sustained over 2 or more slots, or one station beyond 4,000 km
in at least 3 slots. An area's decodes are one opening until nothing of it is heard for 15 minutes, the
trade's usual window for spots.
"""

from collections.abc import Iterable, Sequence
from itertools import pairwise

from sentinel.rehearsal.heard import VERY_FAR_KM, Heard, TrueOpening
from sentinel.sky.circular import circular_mean_deg, circular_std_deg

WINDOW_S = 15 * 60
_SHORTEST_GAP_S = 120
# Modes that a listener cannot tell apart where both kinds of stations are heard: a quarter of the minority.
_MIXED_SHARE = 0.25
_ONE_HOP_KM = 2350.0


def true_openings(heard: Iterable[Heard], modes: dict[str, str]) -> tuple[TrueOpening, ...]:
    """Every opening, in order of time; ``modes`` maps the areas that can open to their mode."""
    by_area: dict[str, list[Heard]] = {}
    for line in heard:
        if line.is_far and line.area in modes:
            by_area.setdefault(line.area, []).append(line)
    found = [
        opening
        for area, lines in by_area.items()
        for part in _parts(lines)
        if (opening := _opening(area, modes[area], part)) is not None
    ]
    return tuple(sorted(found, key=lambda opening: (opening.began_s, opening.area)))


def _parts(lines: list[Heard]) -> list[list[Heard]]:
    lines.sort(key=lambda line: line.at_s)
    parts = [[lines[0]]]
    for line in lines[1:]:
        if line.at_s - parts[-1][-1].at_s > WINDOW_S:
            parts.append([])
        parts[-1].append(line)
    return parts


def _opening(area: str, mode: str, lines: Sequence[Heard]) -> TrueOpening | None:
    due = _due(lines)
    if due is None:
        return None
    stations = {line.station.call: line for line in lines if line.station}
    bearings = [line.bearing_deg for line in stations.values()]
    located = [
        line.distance_km for line in lines if line.station and line.message.endswith(line.station.square)
    ] or [line.distance_km for line in lines]
    times = [line.at_s for line in lines]
    return TrueOpening(
        area=area,
        modes=_acceptable(mode, [line.distance_km for line in stations.values()]),
        began_s=times[0],
        due_at_s=due[0],
        sustained_at_s=due[1],
        ended_s=times[-1],
        calls=tuple(sorted(stations)),
        decodes=len(lines),
        bearing_deg=circular_mean_deg(bearings),
        spread_deg=circular_std_deg(bearings),
        nearest_km=min(located),
        farthest_km=max(located),
        gaps=tuple((a, b) for a, b in pairwise(times) if b - a >= _SHORTEST_GAP_S),
    )


def _due(lines: Sequence[Heard]) -> tuple[int, int] | None:
    """When the definition is first met and when it is beyond doubt: see ``TrueOpening``.

    Three stations of which some are heard only once are three chance pings, not yet an opening: three must
    be heard at least twice within one window somewhere. The clock starts at the third's first decode.
    """
    first = _first_window(lines, stations=3, times=1)
    sustained = _first_window(lines, stations=3, times=2)
    alone = _alone_at_s(lines)
    ways = [(first, sustained)] if first is not None and sustained is not None else []
    ways += [(alone, alone)] if alone is not None else []
    return min(ways, default=None)


def _first_window(lines: Sequence[Heard], stations: int, times: int) -> int | None:
    """When ``stations`` calls have each been heard ``times`` times within the last 15 minutes."""
    slots: dict[str, list[int]] = {}
    for line in lines:
        if line.station is None:
            continue
        slots.setdefault(line.station.call, []).append(line.at_s)
        recent = sum(
            1 for own in slots.values() if len([t for t in own[-times:] if t > line.at_s - WINDOW_S]) >= times
        )
        if recent >= stations:
            return line.at_s
    return None


def _alone_at_s(lines: Sequence[Heard]) -> int | None:
    slots: dict[str, set[int]] = {}
    for line in lines:
        if line.station is not None and line.distance_km > VERY_FAR_KM:
            own = slots.setdefault(line.station.call, set())
            own.add(line.at_s)
            if len([t for t in own if t > line.at_s - WINDOW_S]) >= 3:
                return line.at_s
    return None


def _acceptable(mode: str, distances_km: Sequence[float]) -> frozenset[str]:
    if mode != "sporadic-e":
        return frozenset({mode})
    several = sum(1 for km in distances_km if km > _ONE_HOP_KM) / len(distances_km)
    accepted = set()
    if several >= _MIXED_SHARE:
        accepted.add("multi-hop-sporadic-e")
    if several <= 1.0 - _MIXED_SHARE:
        accepted.add("sporadic-e")
    return frozenset(accepted)
