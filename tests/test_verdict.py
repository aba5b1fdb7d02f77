"""Each rule of the verdict with the least that meets it, and with what just misses it."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nights import BEYOND_4000_KM, HOME, LOCAL, OWN_CALL, SOUTH_WEST, Heard, calling, evening, seconds
from tracks import BEYOND_METEORS, SHORT, area_of, heard_at, place_of

from sentinel.watch.bulletin import BlindReason, State
from sentinel.watch.changes import OpeningChanged, Phase, StateChanged
from sentinel.watch.decode import Decode
from sentinel.watch.evidence import EVIDENCE_CAP, bar
from sentinel.watch.receiver import Blindness
from sentinel.watch.settings import WatchSettings
from sentinel.watch.track import Track
from sentinel.watch.verdict import (
    CHORUS_PER_MIN,
    CHORUS_S,
    CHORUS_WITHIN_S,
    HOLD_S,
    SCATTERED_NATS,
    decide,
    is_beyond_a_ping,
    is_dx,
    is_opening,
    is_sustained,
)
from sentinel.watch.watch import Watch

DEAD_BAND = 0.03  # two pings an hour
SHOWER = 0.5
NOW_S = 600.0
MINUTE = 60.0


def opens(
    tracks: list[Track],
    *,
    usual_per_min: float = DEAD_BAND,
    evidence: float = EVIDENCE_CAP,
    at_s: float = NOW_S,
    closed_at_s: float = float("-inf"),
) -> bool:
    area = area_of(tracks, evidence=evidence, at_s=at_s)
    area.closed_at_s = closed_at_s
    return is_opening(area, tracks, at_s, usual_per_min)


def each(stations: tuple[tuple[str, str], ...], *ago_s: float, slot_s: float = 15.0) -> list[Track]:
    """Each of these stations heard so many seconds ago."""
    times_s = [NOW_S - s for s in sorted(ago_s, reverse=True)]
    return [heard_at(one, *times_s, slot_s=slot_s) for one in stations]


# --- the order of the four words --------------------------------------------------------------------


@given(st.booleans(), st.booleans(), st.integers(0, 5), st.booleans())
def test_blind_comes_before_open_before_stirring_before_quiet(
    is_blind: bool, has_opening: bool, coming_through: int, is_hinted_at: bool
) -> None:
    blindness = Blindness(BlindReason.NO_LINES, "Nothing.") if is_blind else None
    verdict = decide(
        blindness, has_opening=has_opening, coming_through=coming_through, is_hinted_at=is_hinted_at
    )
    claims = (
        (State.BLIND, is_blind),
        (State.OPEN, has_opening),
        (State.STIRRING, coming_through > 0 or is_hinted_at),
    )
    assert verdict.state is next((state for state, holds in claims if holds), State.QUIET)
    assert verdict.blindness is blindness


# --- one station beyond 4,000 km in three slots -----------------------------------------------------


def test_one_station_beyond_4000_km_is_an_opening_in_its_third_slot() -> None:
    assert opens(each((BEYOND_4000_KM,), 0.0, 30.0, 300.0), evidence=0.0)
    assert not opens(each((BEYOND_4000_KM,), 0.0, 30.0))


def test_one_station_short_of_4000_km_is_none_however_often_it_is_heard() -> None:
    assert not any(opens(each((one,), *range(0, 600, 30))) for one in (*BEYOND_METEORS, *SOUTH_WEST))


def test_slots_before_the_last_opening_ended_do_not_count_towards_the_next() -> None:
    dx = each((BEYOND_4000_KM,), 0.0, 30.0, 300.0)
    assert opens(dx, closed_at_s=NOW_S - 301.0)
    assert not opens(dx, closed_at_s=NOW_S - 300.0)


def test_a_distance_that_only_the_prefix_tells_counts_less_what_it_leaves_open() -> None:
    """EA6 is an island; the seventh district of the US begins well short of 4,000 km and ends far beyond."""
    sure, doubtful = place_of("EA6QAA"), place_of("W7QAA")
    assert sure.is_beyond(4_000.0)
    assert doubtful.distance_km > 4_000.0
    assert not doubtful.is_beyond(4_000.0)
    times = (NOW_S - 60.0, NOW_S - 30.0, NOW_S)
    assert is_dx(heard_at(("EA6QAA", None), *times), float("-inf"))
    assert not is_dx(heard_at(("W7QAA", None), *times), float("-inf"))


# --- three that no meteor trail explains ------------------------------------------------------------


def test_three_beyond_any_meteor_trail_need_one_of_them_twice_and_nothing_else() -> None:
    first, second, third = each(BEYOND_METEORS, 0.0)
    twice = each(BEYOND_METEORS[:1], 0.0, 30.0)[0]
    assert opens([twice, second, third], evidence=0.0, usual_per_min=SHOWER)
    assert not opens([first, second, third], evidence=0.0)
    assert not opens([twice, second], evidence=0.0)
    within_a_trail = each(SOUTH_WEST[:1], 0.0)[0]
    assert not opens([twice, second, within_a_trail], evidence=0.0)


def test_what_lasts_through_slots_of_two_minutes_is_no_ping() -> None:
    """WSPR: no trail lasts for 110.6 s of signal (PA3FWM, Electron 2015, for the length)."""
    stations = SOUTH_WEST[:3]
    assert opens(each(stations, 0.0, 240.0, slot_s=120.0), evidence=0.0)
    assert not opens(each(stations, 0.0, 240.0), evidence=0.0)


# --- as near as an aircraft reaches -----------------------------------------------------------------


def test_short_paths_open_only_when_several_last_longer_than_an_aircraft_reflects() -> None:
    """Within 300 to 700 km an aircraft reflects for some minutes (common practice, no source)."""
    for_long, three_minutes = (list(range(0, 60 * minutes, 30)) for minutes in (25, 3))
    now_s = 25 * MINUTE - 30.0
    assert opens([heard_at(one, *for_long) for one in SHORT[:4]], at_s=now_s)
    assert not opens([heard_at(one, *for_long) for one in SHORT[:2]], at_s=now_s)
    assert not opens([heard_at(one, *three_minutes) for one in SHORT], at_s=180.0)


def test_one_farther_station_among_short_paths_is_not_enough() -> None:
    short = each(SHORT[:4], 0.0, 30.0, 60.0, 90.0)
    assert not opens([*short, *each(SOUTH_WEST[:1], 0.0, 30.0, 60.0, 90.0)])
    assert opens([*short, *each(SOUTH_WEST[:2], 0.0, 30.0, 60.0, 90.0)])


# --- three heard again at the same time -------------------------------------------------------------


def test_three_at_once_that_were_each_there_a_moment_ago_are_an_opening() -> None:
    stations = SOUTH_WEST[:3]
    assert opens(each(stations, 0.0, 30.0), evidence=0.0)
    assert not opens(each(stations[:2], 0.0, 30.0), evidence=0.0)
    assert not opens([*each(stations[:2], 0.0, 30.0), *each(stations[2:], 0.0)], evidence=0.0)


def test_of_three_at_once_none_may_be_gone_nor_have_been_away() -> None:
    a_and_b, c = each(SOUTH_WEST[:2], 0.0, 30.0), SOUTH_WEST[2:3]
    assert not opens([*a_and_b, *each(c, CHORUS_WITHIN_S, CHORUS_WITHIN_S + 30.0)], evidence=0.0)
    assert opens([*a_and_b, *each(c, CHORUS_WITHIN_S - 15.0, CHORUS_WITHIN_S + 15.0)], evidence=0.0)
    assert opens([*a_and_b, *each(c, 0.0, CHORUS_S)], evidence=0.0)
    assert not opens([*a_and_b, *each(c, 0.0, CHORUS_S + 15.0)], evidence=0.0)


def test_in_a_shower_three_at_once_must_have_evidence_too() -> None:
    three = each(SOUTH_WEST[:3], 0.0, 30.0)
    assert opens(three, usual_per_min=CHORUS_PER_MIN - 0.01, evidence=0.0)
    assert not opens(three, usual_per_min=CHORUS_PER_MIN, evidence=0.0)


# --- evidence ---------------------------------------------------------------------------------------

LASTING = (0.0, 30.0, 60.0)


def gathered() -> list[Track]:
    """One that outlives a ping, and two more that were heard once each in those minutes."""
    return [*each(SOUTH_WEST[:1], *LASTING), *each(SOUTH_WEST[1:2], 90.0), *each(SOUTH_WEST[2:3], 120.0)]


def test_three_of_which_one_lasts_are_an_opening_once_the_evidence_reaches_the_bar() -> None:
    assert opens(gathered(), evidence=bar(DEAD_BAND))
    assert not opens(gathered(), evidence=bar(DEAD_BAND) - 0.01)
    assert not opens(gathered()[:2])


def test_without_one_that_outlives_a_ping_evidence_is_not_enough() -> None:
    twice = each(SOUTH_WEST[:1], 0.0, 30.0)
    once = [*each(SOUTH_WEST[1:2], 90.0), *each(SOUTH_WEST[2:4], 120.0)]
    assert not opens([*twice, *once])
    assert opens([*each(SOUTH_WEST[:1], 0.0, 30.0, 60.0), *once])
    assert not opens([*each(SOUTH_WEST[:1], 0.0, 15.0, 45.0), *once])  # three slots within 45 s


def test_what_lasted_more_than_five_minutes_ago_lasts_no_more() -> None:
    tracks = each(SOUTH_WEST[:3], 330.0, 360.0, 390.0)
    assert not is_sustained(tracks, NOW_S)
    assert is_sustained(each(SOUTH_WEST[:3], 200.0, 230.0, 260.0), NOW_S)


def test_in_a_shower_they_must_come_back_oftener_for_the_same_evidence() -> None:
    """At one ping in 100 s three stations heard three times each, and two more decodes: 11."""
    nine = each(SOUTH_WEST[:3], *LASTING)
    ten = [*nine, *each(SOUTH_WEST[3:4], 45.0)]
    eleven = [*nine, *each(SOUTH_WEST[3:4], 45.0, 75.0)]
    assert opens(nine[:1] + each(SOUTH_WEST[1:3], 45.0))
    assert [opens(tracks, usual_per_min=0.6) for tracks in (nine, ten, eleven)] == [False, False, True]


@given(st.floats(DEAD_BAND, 5.0), st.floats(0.0, 5.0), st.floats(0.0, EVIDENCE_CAP))
def test_where_more_pings_are_usual_nothing_opens_sooner(usual: float, more: float, evidence: float) -> None:
    tracks = [*each(SOUTH_WEST[:3], 0.0, 30.0), *each(SOUTH_WEST[3:4], *LASTING)]
    is_open_then = opens(tracks, usual_per_min=usual + more, evidence=evidence)
    assert opens(tracks, usual_per_min=usual, evidence=evidence) or not is_open_then


def test_one_that_lasts_proves_nothing_for_pings_that_are_gone() -> None:
    """Two that last vouch for the whole area, one does not."""
    last_two = each(SOUTH_WEST[:2], *LASTING)
    gone = each(SOUTH_WEST[2:3], 500.0)[0]
    area = area_of([*last_two, gone], evidence=EVIDENCE_CAP, at_s=NOW_S)
    assert is_opening(area, last_two, NOW_S, DEAD_BAND)
    one_lasts = [last_two[0], heard_at(SOUTH_WEST[1], NOW_S)]
    area = area_of([*one_lasts, gone], evidence=EVIDENCE_CAP, at_s=NOW_S)
    assert not is_opening(area, one_lasts, NOW_S, DEAD_BAND)


# --- scattered stations -----------------------------------------------------------------------------


def test_a_lone_station_counts_beyond_a_ping_by_its_persistence_while_it_is_there() -> None:
    track = heard_at(SOUTH_WEST[0], NOW_S)
    track.persistence = SCATTERED_NATS
    assert is_beyond_a_ping(track, NOW_S + HOLD_S - 1.0)
    assert not is_beyond_a_ping(track, NOW_S + HOLD_S)
    track.persistence = SCATTERED_NATS - 0.01
    assert not is_beyond_a_ping(track, NOW_S)
    aircraft = heard_at(SHORT[0], NOW_S)
    aircraft.persistence = 3 * SCATTERED_NATS
    assert not is_beyond_a_ping(aircraft, NOW_S)


# --- whole evenings ---------------------------------------------------------------------------------

START_S = seconds("2026-06-14T20:00:00")


def told(heard: list[Heard], until_s: float) -> tuple[list[tuple[float, str]], list[OpeningChanged]]:
    """The states, each with its minute since the start, and what openings began and ended."""
    watch = Watch(WatchSettings(HOME, own_call=OWN_CALL))
    changes = []
    for one in sorted(one for one in heard if one.at_s < until_s):
        changes += watch.feed(Decode(one.at_s, one.message, one.snr_db, one.dt_s, one.audio_hz))
    changes += watch.tick(until_s)
    states = [c for c in changes if isinstance(c, StateChanged)]
    openings = [c for c in changes if isinstance(c, OpeningChanged)]
    return [((c.at_s - START_S) / MINUTE, c.bulletin.state.value) for c in states], openings


def locals_for(minutes: float) -> list[Heard]:
    return list(calling(LOCAL, START_S, START_S + minutes * MINUTE))


def test_three_far_stations_in_two_slots_each_are_the_smallest_opening() -> None:
    begins_s = START_S + 10 * MINUTE
    three = [one for s in SOUTH_WEST[:3] for one in calling(s, begins_s, begins_s + MINUTE)]
    states, _ = told([*locals_for(30), *three], begins_s + 2 * MINUTE)
    assert states == [(0.0, "quiet"), (10.5, "open")]
    states, _ = told([*locals_for(30), *three[:-1]], begins_s + 2 * MINUTE)
    assert [state for _, state in states] == ["quiet", "stirring"]


@pytest.mark.parametrize("fade_min", [2.0, 5.0, 7.0])
def test_a_fade_of_up_to_seven_minutes_is_one_opening(fade_min: float) -> None:
    resumes_s = START_S + (20.0 + fade_min) * MINUTE
    heard = locals_for(60)
    for station in SOUTH_WEST[:4]:
        heard += calling(station, START_S + 10 * MINUTE, START_S + 20 * MINUTE + 1.0)
        heard += calling(station, resumes_s, START_S + 40 * MINUTE)
    states, openings = told(heard, START_S + 39 * MINUTE)
    assert [state for _, state in states].count("open") == 1
    assert [c.phase for c in openings] == [Phase.BEGAN]


def test_eight_minutes_of_silence_end_it() -> None:
    """At most so long may an operator be told 'open' about a dead band."""
    ends_min = 20.0
    heard = locals_for(60)
    for station in SOUTH_WEST[:4]:
        heard += calling(station, START_S + 10 * MINUTE, START_S + ends_min * MINUTE + 1.0)
    states, openings = told(heard, START_S + 60 * MINUTE)
    (left_at,) = [at for (_, before), (at, _) in pairwise(states) if before == "open"]
    assert 7.0 < left_at - ends_min <= 8.0
    assert [c.phase for c in openings] == [Phase.BEGAN, Phase.ENDED]
    assert openings[1].opening.last_at_s == START_S + ends_min * MINUTE


@pytest.mark.parametrize("stations", [2, 4])
def test_what_is_heard_again_at_the_very_moment_of_the_end_goes_on(stations: int) -> None:
    """Nothing is judged before the lines of that moment are in."""
    heard = locals_for(60)
    for station in SOUTH_WEST[:stations]:
        heard += calling(station, START_S + 10 * MINUTE, START_S + 12 * MINUTE)
    states, _ = told(heard, START_S + 60 * MINUTE)
    (ended_min,) = [at for at, state in states[1:] if state == "quiet"]
    again = Heard(START_S + ended_min * MINUTE, f"CQ {SOUTH_WEST[0][0]} {SOUTH_WEST[0][1]}")
    went_on, _ = told([*heard, again], START_S + ended_min * MINUTE + 60.0)
    assert went_on == states[:-1]


@pytest.mark.parametrize(
    ("stray", "is_taken_in"),
    [
        ("CQ W3QAB FN20", True),  # 992 km, the same direction: 600 km nearer than the others
        ("CQ K4QZB EL87", True),  # 2,506 km, 12 degrees beside them: 500 km farther
        ("CQ TI2QAB EK70", False),  # twice as far
        ("CQ DL5QAB JN58", False),  # the other side
        ("CQ K4QZB QF56", False),  # a locator of another continent
    ],
)
def test_a_stray_decode_neither_stretches_an_opening_nor_turns_it(stray: str, is_taken_in: bool) -> None:
    heard = Heard(START_S + 20 * MINUTE, stray, snr_db=-18)
    (*_, clean), (*_, strayed) = (
        told([*evening(START_S), *more], START_S + 60 * MINUTE)[1] for more in ([], [heard])
    )
    assert clean.phase is strayed.phase is Phase.ENDED
    assert strayed.opening.total_stations == clean.opening.total_stations + is_taken_in
    for name in ("nearest_km", "farthest_km", "bearing_deg", "spread_deg", "mode", "muf_mhz"):
        assert getattr(strayed.opening, name) == getattr(clean.opening, name), name


@pytest.mark.parametrize("message", ["TNX BOB 73 GL", "123456789ABCDEF012", "<...> RR73", "W4QAA <...> -12"])
def test_what_names_nobody_opens_nothing(message: str) -> None:
    """Free text and telemetry (types 0.0 and 0.5 of the FT8 protocol paper, from memory), hashes nobody
    resolved."""
    nobody = [Heard(START_S + 15.0 * n, message, audio_hz=300 + n) for n in range(100)]
    states, openings = told([*locals_for(30), *nobody], START_S + 60 * MINUTE)
    assert (states, openings) == ([(0.0, "quiet")], [])
