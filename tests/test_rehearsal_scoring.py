"""Scoring: a report told from the truth scores full marks, and each kind of mistake costs its own figure."""

from dataclasses import replace

import pytest

from sentinel.rehearsal.heard import Home, Outage, Scenario, Settings, TrueOpening
from sentinel.rehearsal.kinds import build
from sentinel.rehearsal.report import Report, SaidHeading, SaidOpening, SaidState, from_records
from sentinel.rehearsal.scoring import score

HOME = Home("Halifax", "FN84ab", "VE1QZZ")
TRUTH = TrueOpening(
    area="es-a",
    modes=frozenset({"sporadic-e"}),
    began_s=3600,
    due_at_s=3660,
    sustained_at_s=3690,
    ended_s=7200,
    calls=("W4QAA", "W4QAB", "W4QAC"),
    decodes=200,
    bearing_deg=240.0,
    spread_deg=4.0,
    nearest_km=1400.0,
    farthest_km=1900.0,
    gaps=((5000, 5400),),
)
SCENARIO = Scenario("es", 0, HOME, 0, 12000, (), (TRUTH,))
SAID = SaidOpening("a", 3675.0, 7670.0, 240.5, 5.0, 9, 1420, 1890, "sporadic-e")
STATES = ((0, "quiet"), (3600, "stirring"), (3675, "open"), (7670, "stirring"), (8000, "quiet"))


def report(*openings: SaidOpening, states: tuple[tuple[float, str], ...] = STATES) -> Report:
    said = Report([SaidState(at_s, state) for at_s, state in states])
    said.openings = {opening.id: opening for opening in openings}
    return said


def test_a_report_that_is_right_scores_full_marks() -> None:
    result = score(SCENARIO, report(SAID))
    assert (result.due, result.found, result.spurious, result.flaps, result.complaints) == (1, 1, 0, 0, [])
    assert (result.delays_s, result.doubtless_delays_s) == ([15.0], [-15.0])
    assert result.lingers_s == [470.0]
    assert result.bearing_errors_deg == [pytest.approx(0.5)]
    assert (result.nearest_errors_km, result.farthest_errors_km) == ([20.0], [10.0])
    assert result.modes == [("sporadic-e", True)]


@pytest.mark.parametrize(
    "changes, complaint",
    [
        ({"bearing_deg": 255.0}, "bearing off by 15.0"),
        ({"mode": "f2"}, "mode f2"),
        ({"nearest_km": 600}, "600-1890 km"),
        ({"said_at_s": 4000.0}, "late by 340 s"),
    ],
)
def test_each_mistake_is_complained_of(changes: dict[str, object], complaint: str) -> None:
    result = score(SCENARIO, report(replace(SAID, **changes)))  # type: ignore[arg-type]
    assert result.found == 1
    assert len(result.complaints) == 1
    assert complaint in result.complaints[0]


def test_an_opening_in_another_direction_is_spurious_and_the_true_one_missed() -> None:
    result = score(SCENARIO, report(replace(SAID, bearing_deg=60.0)))
    assert (result.found, result.spurious) == (0, 1)


def test_an_opening_on_a_day_without_any_is_false() -> None:
    dead = replace(SCENARIO, openings=(), must_not_open=((0, 12000),))
    assert score(dead, report(SAID)).false_openings == 1
    assert score(dead, report()).false_openings == 0


def test_leaving_open_is_a_flap_unless_a_long_silence_excuses_it() -> None:
    flapping = (*STATES[:3], (5200, "stirring"), (5400, "open"), *STATES[3:])
    assert score(SCENARIO, report(SAID, states=flapping)).flaps == 1
    silent = replace(SCENARIO, openings=(replace(TRUTH, gaps=((4700, 5400),)),))
    assert score(silent, report(SAID, states=flapping)).flaps == 0


def test_minutes_of_a_state_run_to_the_next_one_or_the_end() -> None:
    result = score(SCENARIO, report(SAID))
    assert result.stirring_min == pytest.approx((75 + 330) / 60)
    ending_stirring = score(SCENARIO, report(states=((0, "quiet"), (11400, "stirring"))))
    assert ending_stirring.stirring_min == pytest.approx(10)


def test_an_outage_is_scored_by_when_the_watch_goes_blind_and_sees_again() -> None:
    stalled = Scenario(
        "stall",
        0,
        HOME,
        0,
        12000,
        (),
        outages=(Outage(3000, 9000, False),),
        settings=Settings(line_silence_min=10),
    )
    states = ((0.0, "quiet"), (3605.0, "blind"), (9000.0, "quiet"))
    result = score(stalled, report(states=states))
    assert (result.blind_delays_s, result.recoveries_s) == ([5.0], [0.0])
    never = score(stalled, report(states=((0.0, "quiet"),)))
    assert never.blind_delays_s == [float("inf")]
    assert "never blind" in never.complaints[0]


def test_headings_are_held_against_the_stations_of_the_last_quarter_of_an_hour() -> None:
    scenario = build("es", 1)
    (truth,) = scenario.openings
    at_s = (truth.due_at_s + truth.ended_s) / 2.0
    said = report(replace(SAID, bearing_deg=truth.bearing_deg, said_at_s=truth.due_at_s, ended_at_s=None))
    said.headings = [SaidHeading(at_s, (truth.bearing_deg + 40.0) % 360.0, 1000, 2000)]
    (error,) = score(scenario, said).heading_errors_deg
    assert error == pytest.approx(40.0, abs=15.0)


def test_the_records_of_a_replay_become_a_report() -> None:
    place = {
        "bearing_deg": 240.5,
        "stations": 3,
        "nearest_km": 1420,
        "farthest_km": 1890,
        "mode": "sporadic-e",
    }
    began = {"kind": "opening", "phase": "began", "at": "1970-01-01T01:01:15Z", "id": "a", **place}
    ended = {**began, "phase": "ended", "at": "1970-01-01T02:07:50Z", "stations": 9}
    state = {"kind": "state", "at": "1970-01-01T01:01:15Z", "state": "open"}
    said = from_records([state, began, ended, {"kind": "summary", "lines": 3}])
    assert said.states == [SaidState(3675.0, "open")]
    assert said.openings == {"a": replace(SAID, spread_deg=0.0)}
