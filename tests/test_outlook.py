"""The outlook: what the seasons say, what the own record changes, and whether "30 %" happens so often."""

import json
import math
import os
import random
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from diary_samples import BAND, opening
from hypothesis import given
from hypothesis import strategies as st

from sentinel.cli import main
from sentinel.config import load
from sentinel.forecast import REFRESH_S, Forecast
from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_queries import reading
from sentinel.outputs.diary_record import RecordReader, record_of
from sentinel.outputs.diary_rows import DiaryBatch, DowntimeRow, OpeningRow, StateRow, Watched
from sentinel.watch.bulletin import Bulletin, Chance, Mode, State
from sentinel.watch.experience import HOURS_SHAPE, Experience
from sentinel.watch.gamma_poisson import Factor, about_one, chance_of_any
from sentinel.watch.mode import SpaceWeather
from sentinel.watch.outlook import Outlook
from sentinel.watch.outlook_sky import STORM_SHARES, chance_of_aurora, chance_of_busy_hour, kp_needed
from sentinel.watch.outlook_words import percent_words
from sentinel.watch.prior_rates import PriorRates
from sentinel.watch.record import RECENT_DAYS, Record

HOUR_S, DAY_S = 3600.0, 86_400.0
EUROPE, CANADA, AUSTRALIA, GREECE = "JN58td", "FN84ab", "QF56od", "KM18"
OUTLOOKS = {locator: Outlook(locator) for locator in (EUROPE, CANADA, AUSTRALIA, GREECE)}


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def chance(
    mode: Mode, locator: str, iso: str, weather: SpaceWeather | None = None, record: Record | None = None
) -> Chance:
    return next(c for c in OUTLOOKS[locator].chances(at(iso), weather, record) if c.mode is mode)


# --- what the season, the sun and the field say ---------------------------------------------------


def test_sporadic_e_is_likely_in_summer_possible_at_new_year_and_rare_between() -> None:
    june, december, march = (
        chance(Mode.SPORADIC_E, EUROPE, f"2026-{day}T06:00").next_24_h for day in ("06-20", "12-28", "03-10")
    )
    assert june > 0.5
    assert 0.1 < december < 0.5 * june
    assert march < 0.5 * december
    south = [
        chance(Mode.SPORADIC_E, AUSTRALIA, f"2026-{day}T20:00").next_24_h
        for day in ("12-20", "06-28", "04-10")
    ]
    assert south[0] > 0.5
    assert south[0] > south[1] > south[2]


def test_the_next_hour_follows_the_sun_at_the_midpoints() -> None:
    by_hour = {h: chance(Mode.SPORADIC_E, EUROPE, f"2026-06-20T{h:02}:00").next_1_h for h in range(24)}
    assert max(by_hour, key=by_hour.__getitem__) in (8, 9, 10, 11)
    assert by_hour[2] < 0.25 * max(by_hour.values())
    far_west = {h: chance(Mode.SPORADIC_E, CANADA, f"2026-06-20T{h:02}:00").next_1_h for h in range(24)}
    assert 3 <= max(far_west, key=far_west.__getitem__) - max(by_hour, key=by_hour.__getitem__) <= 7


def test_f2_needs_flux_winter_and_noon() -> None:
    high, low = SpaceWeather(flux=220.0), SpaceWeather(flux=100.0)
    noon = chance(Mode.F2, EUROPE, "2026-12-01T09:00", high)
    assert noon.next_6_h > 0.3
    assert chance(Mode.F2, EUROPE, "2026-12-01T09:00", low).next_6_h < 0.02
    assert chance(Mode.F2, EUROPE, "2026-12-01T20:00", high).next_6_h < 0.1 * noon.next_6_h
    assert chance(Mode.F2, EUROPE, "2026-06-20T09:00", high).next_6_h < 0.5 * noon.next_6_h
    unknown = chance(Mode.F2, EUROPE, "2026-12-01T09:00")
    assert 0.02 < unknown.next_6_h < noon.next_6_h
    assert "no solar flux known" in unknown.reason
    assert "flux 220 is high" in noon.reason


def test_transequatorial_belongs_to_equinox_evenings_within_reach_of_the_dip_equator() -> None:
    high = SpaceWeather(flux=200.0)
    equinox = chance(Mode.TRANSEQUATORIAL, GREECE, "2026-03-20T12:00", high)
    assert equinox.next_6_h > 3 * chance(Mode.TRANSEQUATORIAL, GREECE, "2026-06-20T12:00", high).next_6_h
    assert equinox.next_6_h > 3 * chance(Mode.TRANSEQUATORIAL, GREECE, "2026-03-20T00:00", high).next_6_h
    assert "southward" in equinox.reason
    assert "northward" in chance(Mode.TRANSEQUATORIAL, AUSTRALIA, "2026-03-20T12:00", high).reason
    far_north = Outlook("KP37").chances(at("2026-03-20T12:00"), high)
    assert Mode.TRANSEQUATORIAL not in {c.mode for c in far_north}


def test_showers_raise_the_meteors_and_are_named() -> None:
    geminids = chance(Mode.METEOR_SCATTER, EUROPE, "2026-12-13T20:00")
    ordinary = chance(Mode.METEOR_SCATTER, EUROPE, "2026-03-05T20:00")
    assert "Geminids" in geminids.reason
    assert "no shower" in ordinary.reason
    assert geminids.next_24_h > 3 * ordinary.next_24_h


def test_aurora_follows_k_and_the_magnetic_latitude() -> None:
    storm, calm = SpaceWeather(kp=7.0), SpaceWeather(kp=1.0)
    assert chance(Mode.AURORA, CANADA, "2026-03-05T20:00", storm).next_1_h > 0.4
    assert chance(Mode.AURORA, CANADA, "2026-03-05T20:00", calm).next_1_h < 0.02
    assert "K is 7.0 now" in chance(Mode.AURORA, CANADA, "2026-03-05T20:00", storm).reason
    equator = Outlook("FI07").chances(at("2026-03-05T20:00"), storm)
    assert Mode.AURORA not in {c.mode for c in equator}


# NOAA Space Weather Scales: days of a storm in a cycle of 11 years: K 5: 900, 6: 360, 7: 130, 8: 60, 9: 4
def test_days_with_aurora_are_about_half_of_the_published_days_of_storm() -> None:
    a_day = chance_of_aurora(24.0, 65.0, kp=0.0)
    lowest, highest = 900 / 4018, (900 + 360 + 130 + 60 + 4) / 4018
    assert 0.5 * lowest * 0.8 < a_day < 0.5 * highest
    assert sum(STORM_SHARES.values()) == pytest.approx(2604 / 32_142, rel=1e-3)


# NOAA Space Weather Scales: aurora seen as low as 55 degrees geomagnetic at K 6, 50 at 7, 45 at 8, 40 at 9;
# radio reaches further, since the scattering region need only be above the horizon
@pytest.mark.parametrize(("magnetic_lat_deg", "seen_at"), [(55.0, 6), (50.0, 7), (45.0, 8), (40.0, 9)])
def test_radio_aurora_needs_no_more_k_than_seeing_it(magnetic_lat_deg: float, seen_at: int) -> None:
    needed = kp_needed(magnetic_lat_deg)
    assert needed is not None
    assert 5 <= needed <= seen_at
    assert kp_needed(-magnetic_lat_deg) == needed
    assert kp_needed(20.0) is None


def test_other_bands_have_sporadic_e_by_frequency_and_no_f2() -> None:
    june = at("2026-06-20T08:00")
    by_band = {
        mhz: {c.mode: c for c in Outlook(EUROPE, mhz).chances(june, SpaceWeather(flux=220.0))}
        for mhz in (28.0, 50.0, 70.0, 144.0)
    }
    es = [by_band[mhz][Mode.SPORADIC_E].next_24_h for mhz in (28.0, 50.0, 70.0, 144.0)]
    assert es == sorted(es, reverse=True)
    assert es[3] < 0.2 * es[1]
    assert Mode.F2 in by_band[50.0]
    assert not {Mode.F2, Mode.TRANSEQUATORIAL, Mode.METEOR_SCATTER} & set(by_band[144.0])
    assert Mode.METEOR_SCATTER in by_band[70.0]


@given(
    at_s=st.floats(1.5e9, 2.2e9),
    locator=st.sampled_from(sorted(OUTLOOKS)),
    flux=st.none() | st.floats(60, 350),
    kp=st.none() | st.floats(0, 9),
)
def test_chances_grow_with_the_horizon_and_each_has_its_reason(
    at_s: float, locator: str, flux: float | None, kp: float | None
) -> None:
    chances = OUTLOOKS[locator].chances(at_s, SpaceWeather(flux, kp))
    assert len({c.mode for c in chances}) == len(chances) >= 5
    for c in chances:
        assert 0.0 <= c.next_1_h <= c.next_6_h <= c.next_24_h < 1.0
        assert 10 < len(c.reason) < 200
    assert [c.next_6_h for c in chances] == sorted((c.next_6_h for c in chances), reverse=True)
    for c in OUTLOOKS[locator].chances(at_s, SpaceWeather(flux, kp), open_now=[Mode.SPORADIC_E]):
        assert (c.next_1_h == 1.0) == (c.mode is Mode.SPORADIC_E) == (c.reason == "open now")


# --- the arithmetic -------------------------------------------------------------------------------


def test_the_chance_of_any_is_the_negative_binomials() -> None:
    # one factor of shape r: no event with (r / (r + m)) ** r, the textbook's form of the zero class
    assert chance_of_any(2.0, about_one(3.0)) == pytest.approx(1.0 - (3.0 / 5.0) ** 3, rel=1e-12)
    assert chance_of_any(2.0) == pytest.approx(1.0 - math.exp(-2.0), rel=1e-12)
    assert chance_of_any(2.0, about_one(1e9)) == pytest.approx(1.0 - math.exp(-2.0), rel=1e-6)
    assert chance_of_any(0.0, about_one(1.0)) == 0.0


def test_the_posterior_is_the_weighted_mean_of_prior_and_seen() -> None:
    prior_per_h, watched_h, events = 0.05, 300.0, 30
    known = about_one(HOURS_SHAPE).after(events, prior_per_h * watched_h)
    weight_h = HOURS_SHAPE / prior_per_h
    expected = (weight_h * prior_per_h + events) / (weight_h + watched_h)
    assert prior_per_h * known.mean == pytest.approx(expected, rel=1e-12)


@given(st.floats(0.0, 20.0), st.lists(st.floats(0.3, 50.0), max_size=3))
def test_what_is_less_sure_is_less_extreme(expected: float, shapes: list[float]) -> None:
    sure = chance_of_any(expected)
    unsure = chance_of_any(expected, *map(about_one, shapes))
    assert 0.0 <= unsure <= sure + 1e-12
    assert chance_of_any(2.0 * expected, *map(about_one, shapes)) >= unsure


def test_the_product_of_factors_is_close_to_what_drawing_them_gives() -> None:
    chance_ = random.Random(5)
    factors = (Factor(3.0, 2.0), about_one(1.5))

    def one() -> bool:
        rate = 0.8 * math.prod(chance_.gammavariate(f.shape, 1.0 / f.rate) for f in factors)
        return chance_.random() < 1.0 - math.exp(-rate)

    share = sum(one() for _ in range(20_000)) / 20_000
    assert chance_of_any(0.8, *factors) == pytest.approx(share, abs=0.02)


def test_a_busy_hour_is_likelier_with_more_pings_and_more_hours() -> None:
    quiet, busy = chance_of_busy_hour([2.0]), chance_of_busy_hour([12.0])
    assert quiet < 0.05 < 0.4 < busy
    assert chance_of_busy_hour([12.0] * 6) > busy
    assert chance_of_busy_hour([]) == 0.0


# --- the own record -------------------------------------------------------------------------------

PRIOR = PriorRates((48.15, 11.6))
JUNE_S = at("2026-06-20T08:00")


def seasons(openings_in: Counter[tuple[int, int]], hours: float = 90.0) -> Record:
    """Every hour of the year watched for so long, with some openings by sporadic E."""
    cells = [(month, hour) for month in range(1, 13) for hour in range(24)]
    return Record(dict.fromkeys(cells, hours), {Mode.SPORADIC_E: openings_in})


def es(record: Record, at_s: float = JUNE_S) -> Chance:
    return next(c for c in OUTLOOKS[EUROPE].chances(at_s, record=record) if c.mode is Mode.SPORADIC_E)


def test_a_station_that_hears_little_learns_so_and_one_that_hears_much_too() -> None:
    grey = es(Record())
    silent = es(seasons(Counter()))
    rich = es(seasons(Counter({(6, hour): 40 for hour in range(6, 20)})))
    assert silent.next_24_h < 0.1 < grey.next_24_h < rich.next_24_h
    assert rich.next_24_h > 0.85
    assert "no own record" in grey.reason
    assert "no opening in" in silent.reason
    assert "openings in" in rich.reason


def test_a_cell_learns_from_its_neighbours_and_hardly_from_half_a_year_away() -> None:
    base = seasons(Counter())
    in_june = seasons(Counter({(6, 8): 30}))

    def rate(record: Record, cell: tuple[int, int]) -> float:
        known = Experience(PRIOR, Mode.SPORADIC_E, JUNE_S, None, record)
        return (
            known.local(cell)
            / known.station.mean
            * Experience(PRIOR, Mode.SPORADIC_E, JUNE_S, None, base).station.mean
        )

    raised = {
        cell: rate(in_june, cell) / rate(base, cell) for cell in ((6, 8), (6, 9), (7, 8), (6, 20), (12, 8))
    }
    assert raised[6, 8] > raised[6, 9] > raised[6, 20] > raised[12, 8]
    assert raised[6, 8] > raised[7, 8] > raised[12, 8]


def test_a_month_without_openings_is_believed_beside_one_with_many() -> None:
    """A station with one year: nothing in April and September, as usual in the season between."""
    usual = {(month, hour): 3 for month in (5, 6, 7, 8) for hour in range(6, 20)}
    known = Experience(PRIOR, Mode.SPORADIC_E, JUNE_S, None, seasons(Counter(usual)))
    factor = {month: known.month(month).mean for month in (4, 6, 9)}
    assert factor[4] < 0.75 * factor[6]
    assert factor[9] < 0.9 * factor[6]
    assert known.month(4).shape < known.month(6).shape


def test_openings_of_yesterday_raise_the_chance_and_a_silent_yesterday_lowers_it() -> None:
    watched = ((JUNE_S - 2 * DAY_S, JUNE_S),)
    silent = es(Record(recent_watched=watched))
    lively = es(
        Record(
            recent_watched=watched,
            recent_openings=tuple((Mode.SPORADIC_E, JUNE_S - h * HOUR_S) for h in (2.0, 3.0, 20.0, 21.0)),
        )
    )
    assert silent.next_6_h < es(Record()).next_6_h < lively.next_6_h
    assert "4 since yesterday" in lively.reason
    other = Record(recent_watched=watched, recent_openings=((Mode.F2, JUNE_S - HOUR_S),))
    assert es(other) == silent
    ahead = Record(recent_watched=watched, recent_openings=((Mode.SPORADIC_E, JUNE_S + HOUR_S),))
    assert es(ahead) == silent


def test_f2_learns_from_the_last_month_and_not_from_years_of_another_sun() -> None:
    now_s, high = at("2026-12-01T09:00"), SpaceWeather(flux=200.0)

    def f2(record: Record) -> float:
        return next(c for c in OUTLOOKS[EUROPE].chances(now_s, high, record) if c.mode is Mode.F2).next_6_h

    grey = f2(Record())
    cells = {(month, hour): 300.0 for month in range(1, 13) for hour in range(24)}
    assert f2(Record(watched_h=cells)) == grey
    month = ((now_s - RECENT_DAYS * DAY_S, now_s),)
    assert f2(Record(recent_watched=month)) < 0.5 * grey
    often = tuple((Mode.F2, now_s - day * DAY_S + h * HOUR_S) for day in range(1, 28) for h in (1, 3, 5))
    assert f2(Record(recent_watched=month, recent_openings=often)) > 1.2 * grey


# --- the diary's record ---------------------------------------------------------------------------


def write(path: Path, batch: DiaryBatch) -> None:
    with Diary(path) as diary:
        diary.write(batch)


def test_the_record_counts_watched_hours_and_the_openings_that_began_in_them(tmp_path: Path) -> None:
    start_s = at("2026-06-14T10:00")
    write(
        tmp_path / "d.sqlite",
        DiaryBatch(
            states=(
                StateRow(start_s, BAND, State.QUIET, "quiet"),
                StateRow(start_s + 2.5 * HOUR_S, BAND, State.BLIND, "deaf"),
                StateRow(start_s + 4 * HOUR_S, BAND, State.OPEN, "open"),
            ),
            downtimes=(DowntimeRow(BAND, start_s + 5 * HOUR_S, start_s + 6 * HOUR_S),),
            openings=tuple(
                OpeningRow(BAND, opening(id=str(h), began_at_s=start_s + h * HOUR_S, mode=mode))
                for h, mode in (
                    (0.5, Mode.SPORADIC_E),
                    (3.0, Mode.F2),
                    (4.5, Mode.F2),
                    (5.5, Mode.F2),
                    (6.5, Mode.F2),
                )
            ),
            watched=(Watched(BAND, start_s + 8 * HOUR_S),),
        ),
    )
    with reading(tmp_path / "d.sqlite") as connection:
        record = record_of(connection, BAND, start_s + 7 * HOUR_S)
        assert record_of(connection, "2m", start_s + 7 * HOUR_S) == Record()
        before = record_of(connection, BAND, start_s + HOUR_S)
        years_later = record_of(connection, BAND, start_s + 400 * DAY_S)
    assert record.watched_h == {(6, 10): 1.0, (6, 11): 1.0, (6, 12): 0.5, (6, 14): 1.0, (6, 16): 1.0}
    assert record.openings == {Mode.SPORADIC_E: {(6, 10): 1}, Mode.F2: {(6, 14): 1, (6, 16): 1}}
    assert record.recent_openings == (
        (Mode.SPORADIC_E, start_s + 0.5 * HOUR_S),
        (Mode.F2, start_s + 4.5 * HOUR_S),
        (Mode.F2, start_s + 6.5 * HOUR_S),
    )
    assert sum(end - start for start, end in record.recent_watched) == 4.5 * HOUR_S
    assert before.watched_h == {(6, 10): 1.0}
    assert years_later.recent_watched == ()
    assert years_later.watched_h == {**record.watched_h, (6, 17): 1.0}


def test_a_record_read_again_is_the_record_read_afresh(tmp_path: Path) -> None:
    start_s, chance_ = at("2026-04-20T03:00"), random.Random(8)
    changes = sorted(chance_.uniform(0, 60 * DAY_S) for _ in range(200))
    states = (State.QUIET, State.OPEN, State.BLIND)
    write(
        tmp_path / "d.sqlite",
        DiaryBatch(
            states=tuple(StateRow(start_s + t, BAND, states[k % 3], "so") for k, t in enumerate(changes)),
            openings=tuple(
                OpeningRow(BAND, opening(id=str(k), began_at_s=start_s + t)) for k, t in enumerate(changes)
            ),
            watched=(Watched(BAND, start_s + 60 * DAY_S),),
        ),
    )
    reader = RecordReader(BAND)
    with reading(tmp_path / "d.sqlite") as connection:
        for hours in (1.0, 30.0, 31.0, 700.0, 1400.0, 900.0, 1439.0):
            again, afresh = (
                r.read(connection, start_s + hours * HOUR_S) for r in (reader, RecordReader(BAND))
            )
            assert again == afresh
            assert sum(again.watched_h.values()) < hours
            recent_h = sum(end - start for start, end in again.recent_watched) / HOUR_S
            assert recent_h <= min(hours, 24.0 * (RECENT_DAYS + 1))


# --- calibration ----------------------------------------------------------------------------------


def test_what_is_forecast_for_sporadic_e_is_about_what_happens(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(Path(__file__).parent / "bench")
    import outlook_reliability  # the whole table: python tests/bench/outlook_reliability.py

    tables = outlook_reliability.tables_of(stations=4, count=1, step_h=101, seed=3)
    for horizon_h in (6, 24):
        table = tables[Mode.SPORADIC_E, horizon_h]
        ours, constant = table.brier()
        assert table.count > 340
        assert ours < 0.9 * constant
        grey = [each for each in table.bins if each.count >= 20]
        assert len(grey) >= 4
        for each in grey:
            # four standard errors, and what a year of luck of six stations adds
            share = each.forecast / each.count
            error = 4.0 * math.sqrt(share * (1.0 - share) / each.count) + 0.06
            assert each.happened / each.count == pytest.approx(share, abs=error)


# --- the daemon's side ----------------------------------------------------------------------------


def bulletin(at_s: float, *live: Mode) -> Bulletin:
    openings = tuple(opening(id=mode.value, mode=mode) for mode in live)
    return Bulletin("6m", at_s, State.QUIET, at_s, None, "quiet", None, 0, openings=openings)


def forecast(home: Path) -> Forecast:
    return Forecast(load(home / "sentinel.toml"), home / "state")


def test_the_daemon_gets_chances_from_a_thread_and_weather_for_the_core(home: Path) -> None:
    noon_s = at("2026-06-20T13:00")
    os.utime(home / "wwv.txt", (noon_s, noon_s))
    joined = forecast(home)
    assert joined.chances == ()
    joined.look()
    assert joined.weather(noon_s) == SpaceWeather(175.0, 5.67)
    assert joined.weather(noon_s + 2 * DAY_S) == SpaceWeather(175.0, None)
    joined.ask(bulletin(noon_s, Mode.SPORADIC_E), noon_s)
    joined.stop()
    by_mode = {c.mode: c for c in joined.chances}
    assert by_mode[Mode.SPORADIC_E].reason == "open now"
    assert "K is 5.7 now" in by_mode[Mode.AURORA].reason
    assert {part.name: part.is_well for part in joined.parts()} == {"outlook": True, "space weather": True}


def test_an_outlook_is_worked_out_anew_when_something_has_changed_or_it_has_grown_old(home: Path) -> None:
    noon_s = at("2026-06-20T13:00")
    joined = forecast(home)
    assert joined.ask(bulletin(noon_s), noon_s)
    assert not joined.ask(bulletin(noon_s + 60), noon_s + 60)
    assert joined.ask(bulletin(noon_s + 120, Mode.F2), noon_s + 120)
    assert joined.ask(bulletin(noon_s + 180), noon_s + 180)
    assert joined.ask(bulletin(noon_s + 180 + REFRESH_S), noon_s + 180 + REFRESH_S)
    assert joined.ask(bulletin(noon_s), noon_s)  # event time went back: a clock was set
    joined.stop()


# --- the command ----------------------------------------------------------------------------------

WWV = """Solar flux 175 and estimated planetary A-index 42.
The estimated planetary K-index at 1200 UTC on 20 June was 5.67.
"""


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "state"))
    (tmp_path / "wwv.txt").write_text(WWV, "utf-8")
    text = '[station]\nlocator = "FN84ab"\n[space_weather]\nfile = "wwv.txt"\n'
    (tmp_path / "sentinel.toml").write_text(text, "utf-8")
    return tmp_path


def outlook_json(home: Path, capsys: pytest.CaptureFixture[str], iso: str) -> dict[str, object]:
    assert main(["outlook", "--config", str(home / "sentinel.toml"), "--json", "--at", iso]) == 0
    captured = capsys.readouterr()
    assert captured.err == ""
    told: dict[str, object] = json.loads(captured.out)
    return told


def test_the_command_tells_chances_reasons_and_where_to_listen(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = outlook_json(home, capsys, "2026-06-20T13:00:00Z")
    assert told["at"] == "2026-06-20T13:00:00Z"
    sky = told["space_weather"]
    assert isinstance(sky, dict)
    assert sky["kp"] == {"value": 5.67, "at": "2026-06-20T12:00:00Z", "age_s": 3600}
    rows = {row["mode"]: row for row in told["outlook"]}  # type: ignore[attr-defined]
    assert rows["aurora"]["within_1_h"] > 0.3
    assert rows["sporadic-e"]["within_24_h"] > 0.5
    assert "May to August" in rows["sporadic-e"]["reason"]
    listen = [(each["emission"], each["freq_mhz"]) for each in told["listen"]]  # type: ignore[attr-defined]
    assert ("FT8", 50.313) in listen


def test_a_value_that_is_too_old_counts_no_more(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = outlook_json(home, capsys, "2026-06-25T13:00:00Z")
    rows = {row["mode"]: row for row in told["outlook"]}  # type: ignore[attr-defined]
    assert "K is not known" in rows["aurora"]["reason"]
    assert main(["outlook", "--config", str(home / "sentinel.toml"), "--at", "2026-06-25T13:00:00Z"]) == 0
    assert "too old to count" in capsys.readouterr().out


def test_the_command_uses_the_diary_and_a_live_opening(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    began_s = at("2026-06-20T12:40")
    live = opening(began_at_s=began_s, last_at_s=began_s + 600, bearing_deg=95.0, best_snr_db=12.0)
    (home / "state").mkdir()
    write(
        home / "state" / "diary.sqlite",
        DiaryBatch(
            states=(StateRow(began_s - 40 * DAY_S, BAND, State.QUIET, "quiet"),),
            openings=(
                OpeningRow(BAND, live),
                OpeningRow(BAND, replace(live, id="x", ended_at_s=began_s + 700)),
            ),
            watched=(Watched(BAND, began_s + 600),),
        ),
    )
    told = outlook_json(home, capsys, "2026-06-20T12:55:00Z")
    rows = {row["mode"]: row for row in told["outlook"]}  # type: ignore[attr-defined]
    assert "own record: 2 openings in" in rows["sporadic-e"]["reason"]
    listen = told["listen"]
    assert isinstance(listen, list)
    assert (listen[0]["bearing_deg"], listen[0]["emission"]) == (95.0, "SSB")
    assert "voice should carry" in listen[0]["reason"]
    assert main(["outlook", "--config", str(home / "sentinel.toml"), "--at", "2026-06-20T12:55:00Z"]) == 0
    text = capsys.readouterr().out
    assert "960 h watched, 2 openings" in text
    assert "at 095°" in text


def test_without_space_weather_and_diary_the_season_speaks_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "state"))
    config = tmp_path / "s.toml"
    config.write_text('[station]\nlocator = "FN84ab"\n', "utf-8")
    assert main(["outlook", "--config", str(config)]) == 0
    text = capsys.readouterr().out
    assert "none yet, so the seasons speak alone" in text
    assert "nothing known" in text
    assert list((tmp_path / "state").iterdir()) == []


def test_a_space_weather_file_that_is_gone_is_said_and_the_rest_told(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "wwv.txt").unlink()
    assert main(["outlook", "--config", str(home / "sentinel.toml")]) == 0
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert "wwv.txt" in captured.err
    assert "sporadic E" in captured.out


@pytest.mark.parametrize("iso", ["0001-01-01", "1969-12-31T23:59:59", "2100-01-01", "9999-12-31T23:59:59"])
def test_a_time_that_no_sun_is_known_for_is_refused(
    home: Path, capsys: pytest.CaptureFixture[str], iso: str
) -> None:
    assert main(["outlook", "--config", str(home / "sentinel.toml"), "--at", iso]) == 2
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.parametrize(
    ("share", "told"),
    [
        (0.0, "<1 %"),
        (0.004, "<1 %"),
        (0.03, "3 %"),
        (0.12, "10 %"),
        (0.13, "15 %"),
        (0.97, "95 %"),
        (0.99, ">95 %"),
        (1.0, "now"),
    ],
)
def test_percentages_claim_no_more_than_is_known(share: float, told: str) -> None:
    assert percent_words(share) == told
