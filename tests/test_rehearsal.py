"""The invented band: seeded, invented calls only, physics by published values, habits by the protocol."""

import random
import re
import statistics
from collections import defaultdict
from datetime import UTC, datetime
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sentinel.rehearsal.decoder import main as decoder_main
from sentinel.rehearsal.evening import CANARY, DEFAULT_SPEED, LENGTH_S, evening
from sentinel.rehearsal.exchanges import Style
from sentinel.rehearsal.false_decodes import false_message, random_field
from sentinel.rehearsal.habits import SLOT_S, Operator, sittings, traffic
from sentinel.rehearsal.heard import Scenario
from sentinel.rehearsal.kinds import AILING, KINDS, NEVER_OPEN, OPENINGS, build
from sentinel.rehearsal.logs import LAYOUTS, PLAIN, reading_layout, render, write_log
from sentinel.rehearsal.paths import WORLDS
from sentinel.rehearsal.physics import arc_km, decode_probability, es_loss_db, moved, place_of, unit_vector
from sentinel.rehearsal.population import stations_around, world
from sentinel.rehearsal.scatter import meteor_rate
from sentinel.sky.geodesy import path_between
from sentinel.trade.callsign import parse_call
from sentinel.trade.land import is_plausible
from sentinel.trade.locator import center_of, is_locator, locator_of
from sentinel.trade.message import parse_message

SEED = 3
OTHER_SEED = SEED + WORLDS  # another scenario in the same world, which costs less to build


@cache
def scenario_of(kind: str) -> Scenario:
    return build(kind, SEED)


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_and_a_seed_make_the_same_scenario_every_time(kind: str) -> None:
    first = scenario_of(kind)
    assert first == build(kind, SEED)
    assert first.heard != build(kind, OTHER_SEED).heard
    times = [line.at_s for line in first.heard]
    assert times == sorted(times)
    assert all(at_s % SLOT_S == 0 for at_s in times)


@pytest.mark.parametrize("kind", [kind for kind in OPENINGS if kind not in ("aurora", "tropo")])
def test_an_opening_is_an_opening_by_its_true_decodes(kind: str) -> None:
    scenario = scenario_of(kind)
    assert scenario.openings
    for opening in scenario.openings:
        lines = [line for line in scenario.heard if line.area == opening.area and line.is_far]
        assert opening.began_s <= opening.due_at_s <= opening.ended_s
        assert {line.station.call for line in lines if line.station} >= set(opening.calls)
        is_alone = any(line.distance_km > 4000.0 for line in lines)
        assert len(opening.calls) >= 3 or is_alone


@pytest.mark.parametrize("kind", [*NEVER_OPEN, *AILING])
def test_nothing_opens_on_the_days_on_which_nothing_opens(kind: str) -> None:
    assert scenario_of(kind).openings == ()


@pytest.mark.parametrize("kind", ["far-neighbours", "rr73-traffic", "false-flood", "own-transmissions"])
def test_days_of_loud_neighbours_and_noise_bring_no_station_beyond_2500_km(kind: str) -> None:
    assert not any(line.is_far and line.distance_km > 2500.0 for line in scenario_of(kind).heard)


def test_every_station_has_an_invented_call_and_lives_in_its_locator() -> None:
    stations = world(SEED)
    assert len(stations) > 7000
    for station in stations:
        call = parse_call(station.call)
        assert call is not None, station
        assert station.call[-3] == "Q"
        assert station.locator == locator_of(station.lat_deg, station.lon_deg)


def test_calls_and_locators_agree_as_the_trade_would_have_it() -> None:
    stations = world(SEED)
    agree = [s for s in stations if is_plausible(_place_of(s.call), *center_of(s.square))]
    assert len(agree) / len(stations) > 0.985


def _place_of(text: str) -> str:
    call = parse_call(text)
    assert call is not None, text
    return call.place


def test_noise_prints_standard_calls_and_near_squares_as_often_as_the_protocol_makes_it() -> None:
    """97.7 % of random 28-bit values are standard calls; 3.7 % of all squares lie within 2,350 km of JO22."""
    rng = random.Random(2)
    squares = [word for _ in range(20000) for word in false_message(rng).split()[-1:] if is_locator(word)]
    near = [square for square in squares if path_between(52.5, 5.0, *center_of(square)).distance_km < 2350.0]
    assert len(near) / len(squares) == pytest.approx(0.037, abs=0.006)
    fields = [random_field(rng) for _ in range(20000)]
    assert sum("Q" in field[2:] for field in fields) / len(fields) == pytest.approx(0.977, abs=0.006)


def test_people_sit_at_the_radio_in_the_evening_and_hardly_at_night() -> None:
    rng = random.Random(8)
    local_hours = [(start_s / 3600.0 + 4.0) % 24.0 for start_s, _ in sittings(0.0, 400 * 86400.0, 60.0, rng)]
    assert len(local_hours) == pytest.approx(400, rel=0.1)
    evening_share = sum(16.0 <= hour <= 23.0 for hour in local_hours) / len(local_hours)
    assert evening_share > 0.4
    assert sum(1.0 <= hour <= 4.0 for hour in local_hours) / len(local_hours) < 0.02


def test_no_call_that_noise_prints_can_be_somebodys() -> None:
    """What follows the last digit of a call begins with Q."""
    rng = random.Random(1)
    words = [word for _ in range(3000) for word in false_message(rng, "VE1QZZ").split() if parse_call(word)]
    assert len(words) > 3000
    assert not [word for word in words if not re.search(r"\dQ[A-Z]*(/\w*)?$", word)]


def test_the_sender_that_a_message_names_is_the_station_that_sent_it() -> None:
    for kind in ("es", "local-contest", "rr73-traffic"):
        for line in scenario_of(kind).heard:
            if line.station is not None:
                sender = parse_message(line.message, line.mode).sender
                assert sender is not None and sender.base == line.station.call, line


@pytest.mark.parametrize("hop_km, loss_db", [(1000.0, 41.33), (1500.0, 22.83), (2000.0, 18.77)])
def test_a_sporadic_e_hop_loses_what_itu_r_p_2001_says(hop_km: float, loss_db: float) -> None:
    """ITU-R P.2001-4, attachment G, at f/foEs = 5."""
    assert es_loss_db(hop_km, 50.313 / 5.0) == pytest.approx(loss_db, abs=0.02)


def test_half_of_all_signals_at_the_published_threshold_are_decoded() -> None:
    """-20.8 dB in 2500 Hz: Franke, Somerville, Taylor, QEX July/August 2020."""
    assert decode_probability(-20.8) == pytest.approx(0.5, abs=0.01)
    assert decode_probability(-24.0) < 0.01
    assert decode_probability(-18.0) > 0.95


PLACES = st.tuples(st.floats(-80.0, 80.0), st.floats(-179.0, 179.0))


@given(PLACES, PLACES)
def test_the_sphere_errs_by_less_than_0_6_percent(a: tuple[float, float], b: tuple[float, float]) -> None:
    exact = path_between(*a, *b).distance_km
    assert arc_km(unit_vector(*a), unit_vector(*b)) == pytest.approx(exact, rel=0.006, abs=0.01)


@given(PLACES, st.floats(0.0, 360.0), st.floats(1.0, 3000.0))
def test_moving_goes_as_far_as_it_says(
    place: tuple[float, float], bearing_deg: float, distance_km: float
) -> None:
    start = unit_vector(*place)
    there = moved(start, bearing_deg, distance_km)
    assert arc_km(start, there) == pytest.approx(distance_km, abs=0.01)
    assert -90.0 <= place_of(there)[0] <= 90.0


def test_meteors_are_most_at_six_and_fewest_at_eighteen_local_time() -> None:
    """Common practice, no source: about four to one."""
    six, eighteen = 6 * 3600.0, 18 * 3600.0
    assert meteor_rate(six, 0.0) / meteor_rate(eighteen, 0.0) == pytest.approx(4.0)
    assert meteor_rate(six - 4 * 3600.0, 60.0) == pytest.approx(meteor_rate(six, 0.0))


def test_a_station_never_sends_in_both_halves_of_a_minute_pair_of_one_qso() -> None:
    """Even or odd: nobody transmits in two slots running."""
    rng = random.Random(5)
    operators = [
        Operator(station, 0.0, 7200.0, 0.9) for station in stations_around(45.0, -64.0, 10.0, 100.0, 8, rng)
    ]
    sent = sorted(traffic(operators, ["W5QAB"], rng), key=lambda each: each.at_s)
    slots: dict[str, list[int]] = defaultdict(list)
    for each in sent:
        slots[each.station.call].append(each.at_s)
    assert len(sent) > 500
    for times in slots.values():
        steps = [b - a for a, b in pairwise(times)]
        assert min(steps) >= SLOT_S
        assert statistics.median(steps) == 2 * SLOT_S


def test_an_operator_keeps_the_audio_frequency() -> None:
    rng = random.Random(6)
    operators = [
        Operator(station, 0.0, 3600.0) for station in stations_around(45.0, -64.0, 10.0, 100.0, 5, rng)
    ]
    frequencies: dict[str, set[int]] = defaultdict(set)
    for each in traffic(operators, ["W5QAB"], rng):
        frequencies[each.station.call].add(each.audio_hz)
    assert all(len(own) == 1 for own in frequencies.values())


@pytest.mark.parametrize("style", Style)
def test_each_style_of_exchange_names_its_senders(style: Style) -> None:
    rng = random.Random(7)
    stations = stations_around(45.0, -64.0, 10.0, 100.0, 6, rng)
    operators = [Operator(station, 0.0, 3600.0, 0.9, style) for station in stations]
    for each in traffic(operators, ["W5QAB"], rng, answered=0.9):
        sender = parse_message(each.message, "FT8").sender
        assert sender is not None and sender.base == each.station.call, each.message


def test_a_flood_comes_at_the_rate_that_it_says() -> None:
    scenario = scenario_of("false-flood")
    false = [line for line in scenario.heard if not line.is_true]
    per_hour: dict[int, int] = defaultdict(int)
    for line in false:
        per_hour[line.at_s // 3600] += 1
    assert 40 <= max(per_hour.values()) <= 400
    assert all(-25 <= line.snr_db <= -17 for line in false)


def test_fading_falls_silent_for_four_to_seven_minutes_and_comes_back() -> None:
    silences = [
        (later - earlier) / 60.0
        for seed in range(SEED, SEED + 4 * WORLDS, WORLDS)
        for opening in build("es-fading", seed).openings
        for earlier, later in opening.gaps
    ]
    deep = [minutes for minutes in silences if minutes >= 4.0]
    assert len(deep) >= 4
    assert statistics.median(deep) < 7.5


def test_a_stall_leaves_no_line_and_a_deaf_receiver_only_false_ones() -> None:
    stall, deaf = scenario_of("stall"), scenario_of("silent-canary")
    (outage,) = stall.outages
    assert not any(outage.last_s < line.at_s < outage.first_s for line in stall.heard)
    (outage,) = deaf.outages
    meanwhile = [line for line in deaf.heard if outage.last_s + 120 < line.at_s < outage.first_s - 120]
    assert meanwhile and not any(line.is_true for line in meanwhile)


def test_a_drifting_clock_shows_in_the_time_offsets() -> None:
    scenario = scenario_of("drifting-clock")
    true = [line.dt_s for line in scenario.heard if line.is_true]
    assert abs(statistics.median(true[-50:]) - statistics.median(true[:50])) > 1.0


@pytest.mark.parametrize("seed", range(SEED, SEED + 4 * WORLDS, WORLDS))
def test_the_evening_goes_from_quiet_over_stirring_and_open_to_silence(seed: int) -> None:
    night = evening(seed)
    (opening,) = night.openings
    minutes = [(at_s - night.began_s) / 60.0 for at_s in (opening.began_s, opening.due_at_s, opening.ended_s)]
    assert 15.0 <= minutes[0] <= minutes[1] <= 21.0
    assert 45.0 <= minutes[2] <= 54.0
    assert 200.0 < opening.bearing_deg < 260.0
    far = [line for line in night.heard if line.is_far]
    assert len([line for line in far if line.at_s < opening.began_s]) == 2  # the ping, heard twice
    after_min = (night.ended_s - far[-1].at_s) / 60.0
    assert after_min > 15.0 + 8.0
    assert LENGTH_S / DEFAULT_SPEED < 50.0
    assert any(line.station and line.station.call == CANARY for line in night.heard[-40:])


def test_the_decoder_writes_the_whole_evening_into_the_file(tmp_path: Path) -> None:
    out = tmp_path / "decodes.log"
    out.write_text("2026-06-20T20:00:00Z -3 0.1 1200 CQ VE1QAA FN84\n", "utf-8")
    arguments = ["--out", str(out), "--seed", "3", "--speed", "100000", "--start", "2026-07-01T21:00:00Z"]
    assert decoder_main(arguments) == 0
    start_s = datetime(2026, 7, 1, 21, tzinfo=UTC).timestamp()
    expected = [render(PLAIN, line) for line in evening(3, start_s).heard]
    assert out.read_text("utf-8").splitlines()[1:] == expected


@pytest.mark.parametrize("speed", ["0", "-3", "nan", "fast"])
def test_the_decoder_refuses_a_speed_that_is_none(
    speed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        decoder_main(["--out", str(tmp_path / "x"), "--speed", speed])
    assert stopped.value.code == 2
    assert "--speed" in capsys.readouterr().err


def test_a_line_is_rendered_by_its_template(tmp_path: Path) -> None:
    night = evening(3)
    first = night.heard[0]
    assert (
        render(PLAIN, first)
        == f"2026-06-20T20:45:00Z {first.snr_db} {first.dt_s:.1f} {first.audio_hz} {first.message}"
    )
    assert render("{utc:epoch} {snr_db:+03d}", first) == f"{first.at_s} {first.snr_db:+03d}"
    assert (
        reading_layout("{utc:%H%M} {snr_db:+03d} {dt_s:5.1f} {message}")
        == "{utc:%H%M} {snr_db} {dt_s} {message}"
    )
    for layout in LAYOUTS:
        path = tmp_path / "log"
        assert (
            write_log(path, night.heard, layout)
            == len(night.heard)
            == len(path.read_text("utf-8").splitlines())
        )
