"""Bulletins to diary rows: each thing is told once, and told again only under the same key."""

from dataclasses import replace
from pathlib import Path

from diary_samples import BAND, NOON_S, OPENING

from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_news import news
from sentinel.outputs.diary_queries import notables, openings, reading, sightings
from sentinel.outputs.diary_rows import HealthRow, OpeningRow, SlotRow, StateRow, Watched
from sentinel.watch.bulletin import (
    BlindReason,
    Bulletin,
    LocationSource,
    Notable,
    Part,
    ReceiverHealth,
    State,
    Station,
)


def station(call: str, last_at_s: float) -> Station:
    place = ("KM17", LocationSource.MESSAGE, 60.0, 121.5, 2050.0)
    return Station(call, *place, NOON_S, last_at_s, 3, -5.0, -9.0, 1210.0, 0.9)


OPEN = Bulletin(
    BAND,
    NOON_S + 60,
    State.OPEN,
    NOON_S + 30,
    State.QUIET,
    "3 stations from the south-east",
    None,
    3,
    stations=(station("SV1QAB", NOON_S + 45), station("SV9QAC", NOON_S + 30)),
    openings=(OPENING,),
    notables=(Notable("n1", NOON_S + 60, "new-square", "SV1QAB", "First KM17"),),
    receiver=ReceiverHealth(lines=50, decodes=40, rejected=2, last_decode_at_s=NOON_S + 45, near_stations=4),
    parts=(Part("broker", True), Part("display", None)),
)


def test_the_first_bulletin_tells_everything() -> None:
    batch = news(OPEN, None, {"SV1QAB": "Greece"}.get)
    assert [(row.call, row.at_s, row.snr_db) for row in batch.sightings] == [
        ("SV1QAB", NOON_S + 45, -9.0),
        ("SV9QAC", NOON_S + 30, -9.0),
    ]
    assert [row.country for row in batch.sightings] == ["Greece", None]
    assert batch.states == (StateRow(NOON_S + 30, BAND, State.OPEN, OPEN.because),)
    assert batch.openings == (OpeningRow(BAND, OPENING),)
    assert [row.notable.id for row in batch.notables] == ["n1"]
    assert batch.health == (HealthRow(NOON_S + 60, "broker", True),)
    assert batch.watched == (Watched(BAND, NOON_S + 60),)
    assert batch.slots == ()  # how many decodes came before the start is not known


def test_a_bulletin_without_news_only_says_that_the_watch_is_alive() -> None:
    later = replace(OPEN, at_s=NOON_S + 75)
    batch = news(later, OPEN)
    assert batch.rows == 0
    assert batch.watched == (Watched(BAND, NOON_S + 75),)


def test_only_what_changed_is_told() -> None:
    changed = replace(OPENING, stations=6)
    later = replace(
        OPEN,
        at_s=NOON_S + 75,
        stations=(station("SV1QAB", NOON_S + 60), station("SV9QAC", NOON_S + 30)),
        openings=(changed,),
        notables=(*OPEN.notables, Notable("n2", NOON_S + 75, "farthest", "SV1QAB", "Farthest so far")),
        receiver=replace(OPEN.receiver, decodes=46, rejected=3, last_decode_at_s=NOON_S + 60),
        parts=(Part("broker", False, "no connection"), Part("display", None, "none")),
    )
    batch = news(later, OPEN)
    assert [(row.call, row.at_s) for row in batch.sightings] == [("SV1QAB", NOON_S + 60)]
    assert batch.slots == (SlotRow(NOON_S + 60, BAND, 6, 1, 4, 3),)
    assert batch.states == ()
    assert batch.openings == (OpeningRow(BAND, changed),)
    assert [row.notable.id for row in batch.notables] == ["n2"]
    assert batch.health == (HealthRow(NOON_S + 75, "broker", False, "no connection"),)


def test_another_reason_to_be_blind_is_a_change_of_its_own_time() -> None:
    blind = replace(
        OPEN, state=State.BLIND, since_s=NOON_S + 70, at_s=NOON_S + 80, blind_reason=BlindReason.SOURCE_GONE
    )
    worse = replace(blind, at_s=NOON_S + 95, blind_reason=BlindReason.CLOCK_OFF)
    (first,) = news(blind, OPEN).states
    (second,) = news(worse, blind).states
    assert (first.at_s, first.blind_reason) == (NOON_S + 70, "source-gone")
    assert (second.at_s, second.blind_reason) == (NOON_S + 95, "clock-off")


def test_after_a_restart_the_same_bulletin_counts_nothing_twice(tmp_path: Path) -> None:
    path = tmp_path / "diary.sqlite"
    for _ in range(2):
        with Diary(path) as diary:
            diary.write(news(OPEN, None))
    with reading(path) as connection:
        assert len(list(sightings(connection, 0, 4e9))) == 2
        assert len(openings(connection)) == len(notables(connection, 0, 4e9)) == 1
        assert connection.execute("SELECT count(*) FROM state_change").fetchone() == (1,)
