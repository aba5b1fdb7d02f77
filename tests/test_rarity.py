"""How unusual an opening is, by the days watched: honest about a short record, and told once."""

from pathlib import Path

import pytest
from diary_samples import opening
from hypothesis import given
from hypothesis import strategies as st

from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_queries import reading
from sentinel.outputs.diary_recall import day_bests
from sentinel.outputs.diary_rows import DiaryBatch, DowntimeRow, OpeningRow, StateRow, Watched
from sentinel.watch.bulletin import Opening, State
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.notable import NotableFinder
from sentinel.watch.rarity import LEAST_DAYS, WHOLE_YEAR_DAYS, DayBest, Rarity

TODAY = 20_618  # 2026-06-14
DAY_S = 86_400.0
BEGAN_S = TODAY * DAY_S + 15 * 3600.0
LATER_S = BEGAN_S + 600.0
HALF_DAY, ELEVEN_HOURS = (1 << 12) - 1, (1 << 11) - 1


def good(stations: int, farthest_km: int) -> Opening:
    return opening(began_at_s=BEGAN_S, peak_stations=stations, farthest_km=farthest_km, ended_at_s=None)


def record(days: int, stations: int = 0, farthest_km: int = 0) -> dict[int, DayBest]:
    """Days up to yesterday, each as good as this."""
    return {TODAY - 1 - day: DayBest(stations, farthest_km) for day in range(days)}


def told(days: dict[int, DayBest], now: Opening, at_s: float = LATER_S) -> str | None:
    return Rarity.of(days).sentence(at_s, now)


def test_a_record_of_less_than_a_month_says_nothing() -> None:
    assert told(record(LEAST_DAYS - 1), good(20, 2000)) is None
    assert told(record(LEAST_DAYS), good(20, 2000)) is not None


def test_what_no_other_day_had_is_told_with_the_days_that_it_is_measured_by() -> None:
    assert told(record(45, 6, 2100), good(7, 2000)) == (
        "7 stations at once: not so many on any of the 45 days watched within a year."
    )


def test_a_short_record_is_not_stretched_to_a_year() -> None:
    days = record(60, 6, 2100) | {TODAY - 3: DayBest(30, 2100), TODAY - 9: DayBest(20, 2100)}
    assert told(days, good(18, 2000)) == (
        "18 stations at once: so many only on 2 of the 60 days watched within a year."
    )


def test_over_all_seasons_it_is_told_how_many_days_a_year_are_so_good() -> None:
    """2 of 300 days are 2.4 of 365."""
    days = record(WHOLE_YEAR_DAYS, 6, 2100) | {TODAY - 3: DayBest(30, 2100), TODAY - 200: DayBest(20, 2100)}
    assert told(days, good(18, 2000)) == (
        "18 stations at once: so many only on 2 of the 300 days watched within a year, about 2 days a year."
    )


def test_the_farthest_counts_where_it_is_the_rarer() -> None:
    days = record(100, 25, 2200) | {TODAY - 5: DayBest(3, 8350)}
    assert told(days, good(4, 8400)) == (
        "8400 km: so far only on 1 of the 100 days watched within a year."
    )  # 8350 km is as far: a square leaves 50 km open


def test_what_comes_more_than_once_a_month_is_not_rare() -> None:
    days = record(60, 6, 2100) | {TODAY - day: DayBest(30, 2100) for day in (3, 9, 20)}
    assert told(days, good(18, 2000)) is None


def test_today_is_no_day_to_be_compared_with() -> None:
    days = record(40, 6, 2100) | {TODAY: DayBest(18, 2100)}
    assert told(days, good(18, 2000)) == (
        "18 stations at once: not so many on any of the 40 days watched within a year."
    )


def test_an_opening_gets_five_minutes_to_gather_its_stations() -> None:
    assert told(record(40), good(3, 2000), BEGAN_S + 299.0) is None
    assert told(record(40), good(3, 2000), BEGAN_S + 300.0) is not None


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 9000)), min_size=30, max_size=365), st.data())
def test_a_better_opening_is_never_less_rare(bests: list[tuple[int, int]], data: st.DataObject) -> None:
    days = {TODAY - 1 - k: DayBest(*best) for k, best in enumerate(bests)}
    stations, km = data.draw(st.integers(3, 50)), data.draw(st.integers(500, 9000))
    better = good(stations + data.draw(st.integers(0, 10)), km + data.draw(st.integers(0, 1000)))
    if told(days, good(stations, km)) is not None:
        assert told(days, better) is not None


# --- the record as the days go by ---------------------------------------------------------------------------


def test_a_day_counts_once_half_of_it_was_watched() -> None:
    rarity = Rarity()
    rarity.pass_time(TODAY * DAY_S, {TODAY - 2: ELEVEN_HOURS, TODAY - 1: HALF_DAY, TODAY: HALF_DAY})
    assert rarity.days == {TODAY - 1: DayBest()}


def test_a_day_keeps_the_best_of_its_openings() -> None:
    rarity = Rarity()
    rarity.pass_time(BEGAN_S, {TODAY: HALF_DAY})
    rarity.note(good(4, 2300))
    rarity.note(good(9, 1800))
    rarity.pass_time(BEGAN_S + DAY_S, {TODAY: HALF_DAY})
    assert rarity.days == {TODAY: DayBest(9, 2300)}


def test_days_of_more_than_a_year_ago_are_dropped() -> None:
    rarity = Rarity.of(record(365))
    rarity.pass_time(BEGAN_S + 10 * DAY_S, {})
    assert min(rarity.days) == TODAY - 355


def test_it_is_told_once_a_day_however_the_opening_grows() -> None:
    finder = NotableFinder("6m", Knowledge(day_bests=record(40, 2, 1500)))
    told = [
        notable.what
        for minute in range(5, 60)
        for notable in finder.find(BEGAN_S + 60 * minute, good(3 + minute, 2000), [])
    ]
    assert told.count("rare") == 1


# --- the record out of the diary ----------------------------------------------------------------------------


@pytest.fixture
def diary(tmp_path: Path) -> Path:
    """Three days: one watched whole with an opening, one blind for 13 hours, one not running for 11."""
    path = tmp_path / "diary.sqlite"
    first_s = (TODAY - 3) * DAY_S
    states = [
        StateRow(first_s, "6m", State.QUIET, "quiet"),
        StateRow(first_s + DAY_S, "6m", State.BLIND, "deaf", "canary-silent"),
        StateRow(first_s + DAY_S + 13 * 3600.0, "6m", State.QUIET, "quiet"),
    ]
    seen = opening(
        began_at_s=first_s + 3600.0, last_at_s=first_s + 4000.0, peak_stations=12, farthest_km=2100
    )
    with Diary(path) as card:
        card.write(
            DiaryBatch(
                states=tuple(states),
                downtimes=(DowntimeRow("6m", first_s + 2 * DAY_S, first_s + 2 * DAY_S + 11 * 3600.0),),
                openings=(OpeningRow("6m", seen),),
                watched=(Watched("6m", TODAY * DAY_S),),
            )
        )
    return path


def test_the_diary_gives_the_days_of_which_half_was_watched(diary: Path) -> None:
    with reading(diary) as connection:
        assert day_bests(connection, "6m", TODAY * DAY_S) == {
            TODAY - 3: DayBest(12, 2100),
            TODAY - 1: DayBest(),
        }


def test_the_diary_of_another_band_says_nothing_of_this_one(diary: Path) -> None:
    with reading(diary) as connection:
        assert day_bests(connection, "2m", TODAY * DAY_S) == {}
