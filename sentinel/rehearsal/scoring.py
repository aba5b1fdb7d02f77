"""Scores one report against the truth; ``tests/bench/verdict_figures.py`` says what each figure means."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field

from sentinel.rehearsal.heard import EVERYDAY, Scenario, TrueOpening
from sentinel.rehearsal.report import Report, SaidOpening
from sentinel.rehearsal.truth import WINDOW_S
from sentinel.sky.circular import angle_between_deg, circular_mean_deg

SLOT_S = 15
# A report names an opening when it points within this angle of the truth, or within twice a wide spread.
SAME_DIRECTION_DEG = 25.0
# The verdict must ride out a fade of this length (and one slot, for the stations' parity).
RIDDEN_FADE_S = 7 * 60 + SLOT_S
# Meant to be at most 8 minutes in the median; pings from the same direction may hold it open a little longer.
LONGEST_LINGER_S = 900.0
# Openings that end within this time of each other end together, for the state knows only one of them.
_TOGETHER_S = 20 * 60


@dataclass(slots=True)
class Score:
    """One scenario's contribution to the figures. ``complaints`` name what a developer should look at."""

    kind: str
    seed: int
    days: float
    false_openings: int = 0
    spurious: int = 0
    due: int = 0
    found: int = 0
    stirring_min: float = 0.0
    blind_min: float = 0.0
    flaps: int = 0
    delays_s: list[float] = field(default_factory=list)
    doubtless_delays_s: list[float] = field(default_factory=list)
    lingers_s: list[float] = field(default_factory=list)
    bearing_errors_deg: list[float] = field(default_factory=list)
    heading_errors_deg: list[float] = field(default_factory=list)
    nearest_errors_km: list[float] = field(default_factory=list)
    farthest_errors_km: list[float] = field(default_factory=list)
    modes: list[tuple[str, bool]] = field(default_factory=list)
    blind_delays_s: list[float] = field(default_factory=list)
    recoveries_s: list[float] = field(default_factory=list)
    is_clock_noticed: bool = False
    complaints: list[str] = field(default_factory=list)


def score(scenario: Scenario, report: Report) -> Score:
    """All figures of one scenario."""
    result = Score(scenario.kind, scenario.seed, scenario.days)
    result.stirring_min = _minutes_in("stirring", scenario, report)
    result.blind_min = _minutes_in("blind", scenario, report)
    matched = match(scenario.openings, report)
    _score_false(scenario, report, matched, result)
    for truth in scenario.openings:
        _score_opening(scenario, truth, matched.get(truth, []), report, result)
    _score_ends(scenario, report, result)
    _score_outages(scenario, report, result)
    if scenario.has_drifting_clock:
        final = state_at(report, scenario.ended_s)
        result.is_clock_noticed = final == "blind"
        if not result.is_clock_noticed:
            result.complaints.append(f"says {final} though the clock has drifted until nothing is decoded")
    return result


def match(openings: Sequence[TrueOpening], report: Report) -> dict[TrueOpening, list[SaidOpening]]:
    """Each reported opening goes to the true one that it overlaps in time and points to best."""
    matched: dict[TrueOpening, list[SaidOpening]] = {}
    for said in report.openings.values():
        overlapping = [truth for truth in openings if _overlaps(truth, said)]
        if not overlapping:
            continue
        best = min(overlapping, key=lambda truth: angle_between_deg(truth.bearing_deg, said.bearing_deg))
        if angle_between_deg(best.bearing_deg, said.bearing_deg) <= max(
            SAME_DIRECTION_DEG, 2.0 * best.spread_deg
        ):
            matched.setdefault(best, []).append(said)
    for group in matched.values():
        group.sort(key=lambda said: said.said_at_s)
    return matched


def state_at(report: Report, at_s: float) -> str:
    """The state in force at a time; "" before the first verdict."""
    index = bisect_right([said.at_s for said in report.states], at_s)
    return report.states[index - 1].state if index else ""


def _overlaps(truth: TrueOpening, said: SaidOpening) -> bool:
    ended = said.ended_at_s if said.ended_at_s is not None else float("inf")
    return (
        said.said_at_s <= truth.ended_s + 60
        and ended >= truth.began_s
        and said.said_at_s >= truth.began_s - 60
    )


def _score_false(
    scenario: Scenario, report: Report, matched: dict[TrueOpening, list[SaidOpening]], result: Score
) -> None:
    named = {said.id for group in matched.values() for said in group}
    for said in report.openings.values():
        if said.id in named or _is_thin(scenario, said):
            continue
        towards = f"{said.bearing_deg:.0f} deg {said.mode} {said.stations} stations"
        what = f"at {_clock(scenario, said.said_at_s)} {towards}"
        if any(began <= said.said_at_s < ended for began, ended in scenario.must_not_open):
            result.false_openings += 1
            result.complaints.append(f"false opening {what}")
        else:
            result.spurious += 1
            result.complaints.append(f"opening without a true one {what}")


def _is_thin(scenario: Scenario, said: SaidOpening) -> bool:
    """Two stations of an area and a ping, or three of which one came once: neither right nor wrong."""
    areas_by_call = {
        line.station.call: line.area
        for line in scenario.heard
        if line.station is not None
        and line.is_far
        and said.said_at_s - WINDOW_S < line.at_s <= said.said_at_s
        and angle_between_deg(line.bearing_deg, said.bearing_deg) <= SAME_DIRECTION_DEG
    }
    return len(areas_by_call) >= 3 and not EVERYDAY.issuperset(areas_by_call.values())


def _score_opening(
    scenario: Scenario, truth: TrueOpening, group: list[SaidOpening], report: Report, result: Score
) -> None:
    result.due += 1
    towards = f"{truth.bearing_deg:.0f} deg {len(truth.calls)} stations"
    where = f"{truth.area} due {_clock(scenario, truth.due_at_s)} {towards}"
    if not group or group[0].said_at_s > truth.ended_s + 60:
        result.complaints.append(f"missed {where}")
        return
    result.found += 1
    delay = max(0.0, group[0].said_at_s - truth.due_at_s)
    result.delays_s.append(delay)
    result.doubtless_delays_s.append(group[0].said_at_s - truth.sustained_at_s)
    if delay > 150.0:
        result.complaints.append(f"late by {delay:.0f} s: {where}")
    best = max(group, key=lambda said: said.stations)
    _score_place(scenario, truth, group, result, where)
    is_right = best.mode in truth.modes
    result.modes.append((best.mode, is_right))
    if not is_right:
        result.complaints.append(f"mode {best.mode}, not {'/'.join(sorted(truth.modes))}: {where}")
    _score_flaps(scenario, truth, report, result)
    _score_headings(scenario, truth, report, result)


def _score_place(
    scenario: Scenario, truth: TrueOpening, group: Sequence[SaidOpening], result: Score, where: str
) -> None:
    """The bearing of the largest report; the span of all, for one hop and two may be told apart."""
    said = max(group, key=lambda said: said.stations)
    said_nearest_km = min(said.nearest_km for said in group)
    said_farthest_km = max(said.farthest_km for said in group)
    bearing = angle_between_deg(said.bearing_deg, truth.bearing_deg)
    pings_km = [truth.nearest_km, truth.farthest_km, *_others_km(scenario, truth)]
    nearest = _outside(said_nearest_km, min(pings_km), truth.nearest_km)
    farthest = _outside(said_farthest_km, truth.farthest_km, max(pings_km))
    result.bearing_errors_deg.append(bearing)
    result.nearest_errors_km.append(nearest)
    result.farthest_errors_km.append(farthest)
    if bearing > 5.0:
        result.complaints.append(f"bearing off by {bearing:.1f} deg: {where}")
    if max(nearest, farthest) > 100.0:
        span = f"{truth.nearest_km:.0f}-{truth.farthest_km:.0f}"
        said_span = f"{said_nearest_km:.0f}-{said_farthest_km:.0f}"
        result.complaints.append(f"{said_span} km, not {span}: {where}")


def _others_km(scenario: Scenario, truth: TrueOpening) -> list[float]:
    """True far stations that came meanwhile from there by other ways: counting them is no error."""
    return [
        line.distance_km
        for line in scenario.heard
        if line.is_far
        and line.area != truth.area
        and truth.began_s - WINDOW_S <= line.at_s <= truth.ended_s + WINDOW_S
        and angle_between_deg(line.bearing_deg, truth.bearing_deg)
        <= max(SAME_DIRECTION_DEG, 2.0 * truth.spread_deg)
    ]


def _outside(value: float, low: float, high: float) -> float:
    """How far a value lies outside a range."""
    return max(0.0, low - value, value - high)


def _score_flaps(scenario: Scenario, truth: TrueOpening, report: Report, result: Score) -> None:
    """Leaving open between due and the last decode is a flap unless a longer silence excuses it."""
    states = [said for said in report.states if truth.due_at_s < said.at_s < truth.ended_s]
    was_open = False
    for said in states:
        is_open = said.state == "open"
        if was_open and not is_open and not _is_excused(truth, said.at_s):
            result.flaps += 1
            result.complaints.append(f"flap at {_clock(scenario, said.at_s)} in {truth.area}")
        was_open = was_open or is_open
        if not is_open:
            was_open = False


def _is_excused(truth: TrueOpening, at_s: float) -> bool:
    return any(b - a > RIDDEN_FADE_S and a <= at_s <= b + SLOT_S for a, b in truth.gaps)


def _score_headings(scenario: Scenario, truth: TrueOpening, report: Report, result: Score) -> None:
    """Sampled while open: the nearest heading against the true stations of the last 15 minutes."""
    by_time: dict[float, list[float]] = {}
    for heading in report.headings:
        if truth.due_at_s + 60 < heading.at_s < truth.ended_s:
            by_time.setdefault(heading.at_s, []).append(heading.bearing_deg)
    lines = [line for line in scenario.heard if line.area == truth.area]
    for at_s, bearings in by_time.items():
        live = {line.station: line.bearing_deg for line in lines if at_s - WINDOW_S < line.at_s <= at_s}
        if live:
            true_deg = circular_mean_deg(live.values())
            result.heading_errors_deg.append(min(angle_between_deg(true_deg, said) for said in bearings))


def _score_ends(scenario: Scenario, report: Report, result: Score) -> None:
    """How long the state stays open after the last true decode of openings that end together."""
    ends = sorted(truth.ended_s for truth in scenario.openings)
    for index, ended_s in enumerate(ends):
        if index + 1 < len(ends) and ends[index + 1] - ended_s < _TOGETHER_S:
            continue
        if state_at(report, ended_s) != "open":
            continue  # it closed in a thin tail, before the last decode
        after = [said.at_s for said in report.states if said.at_s > ended_s and said.state != "open"]
        linger_s = (after[0] if after else scenario.ended_s) - ended_s
        result.lingers_s.append(linger_s)
        if linger_s > LONGEST_LINGER_S:
            result.complaints.append(
                f"open for {linger_s:.0f} s after the end at {_clock(scenario, ended_s)}"
            )


def _score_outages(scenario: Scenario, report: Report, result: Score) -> None:
    settings = scenario.settings
    for outage in scenario.outages:
        silence_s = 60.0 * (settings.canary_silence_min if outage.is_deaf else settings.line_silence_min)
        expected_s = outage.last_s + silence_s
        blind = [
            said.at_s
            for said in report.states
            if said.state == "blind" and outage.last_s < said.at_s <= outage.first_s
        ]
        if not blind:
            result.complaints.append(f"never blind in the outage at {_clock(scenario, outage.last_s)}")
            result.blind_delays_s.append(float("inf"))
            continue
        result.blind_delays_s.append(max(0.0, blind[0] - expected_s))  # another reason may come first
        sighted = [said.at_s for said in report.states if said.at_s > blind[-1] and said.state != "blind"]
        result.recoveries_s.append((sighted[0] if sighted else float("inf")) - outage.first_s)


def _minutes_in(state: str, scenario: Scenario, report: Report) -> float:
    total = 0.0
    edges = [*report.states[1:], None]
    for said, following in zip(report.states, edges, strict=True):
        if said.state == state:
            total += (following.at_s if following else scenario.ended_s) - said.at_s
    return total / 60.0


def _clock(scenario: Scenario, at_s: float) -> str:
    minutes = int(at_s - scenario.began_s) // 60
    return f"+{minutes // 60}:{minutes % 60:02d}"
