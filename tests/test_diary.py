"""The diary's file: what is written comes back, once, whatever happens to the file in between."""

import sqlite3
import unicodedata
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from diary_samples import BAND, NOON_S, full_batch, opening, sighting
from hypothesis import given, settings
from hypothesis import strategies as st

from sentinel.outputs.diary import Diary, DiaryUnavailable
from sentinel.outputs.diary_file import connect
from sentinel.outputs.diary_prune import PruneRule
from sentinel.outputs.diary_queries import notables, openings, reading, sightings
from sentinel.outputs.diary_rows import (
    Checkpoint,
    DiaryBatch,
    DowntimeRow,
    HealthRow,
    OpeningRow,
    Recent,
    SightingRow,
    SlotRow,
    Snapshot,
    StateRow,
    Struck,
    Watched,
)
from sentinel.outputs.diary_schema import MIGRATIONS, migrate, schema_version
from sentinel.watch.bulletin import Mode, State

DAY_S = 86_400
TABLES = (
    *("sighting", "slot", "state_change", "downtime", "opening", "notable", "health"),
    *("station", "heard_day", "first_heard", "memory"),
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "diary.sqlite"


def contents(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table: what two diaries are compared by."""
    with reading(path) as connection:
        return {table: connection.execute(f"SELECT * FROM {table}").fetchall() for table in TABLES}


def write(path: Path, *batches: DiaryBatch) -> None:
    with Diary(path) as diary:
        for batch in batches:
            diary.write(batch)


def test_an_opening_comes_back_with_every_field_it_had(path: Path) -> None:
    row = OpeningRow(BAND, opening())
    write(path, DiaryBatch(openings=(row,)))
    with reading(path) as connection:
        assert openings(connection) == (row,)


def test_sightings_and_events_come_back_as_they_were(path: Path) -> None:
    batch = full_batch()
    write(path, batch)
    with reading(path) as connection:
        found = tuple(sightings(connection, 0, NOON_S + DAY_S))
        assert found == tuple(replace(row, country=None) for row in batch.sightings)
        assert notables(connection, 0, NOON_S + DAY_S) == batch.notables


def test_writing_the_same_batches_again_changes_nothing(path: Path) -> None:
    write(path, full_batch(1), full_batch(2))
    once = contents(path)
    assert all(once[table] for table in TABLES if table != "downtime")
    write(path, full_batch(1), full_batch(2))
    assert contents(path) == once


def test_an_opening_told_again_from_an_earlier_moment_keeps_its_end(path: Path) -> None:
    ended = OpeningRow(BAND, opening(ended_at_s=NOON_S + 2000, last_at_s=NOON_S + 1500))
    write(path, DiaryBatch(openings=(ended,)))
    for last_at_s in (NOON_S + 900, NOON_S + 1500):
        write(path, DiaryBatch(openings=(OpeningRow(BAND, opening(last_at_s=last_at_s)),)))
    with reading(path) as connection:
        assert openings(connection) == (ended,)


def test_one_slot_holds_many_calls_but_each_call_once(path: Path) -> None:
    calls = [f"DL{digit}Q{a}{b}" for digit in range(10) for a in "ABC" for b in "AB"]
    rows = tuple(sighting(call=call) for call in calls)
    write(path, DiaryBatch(sightings=rows), DiaryBatch(sightings=tuple(reversed(rows))))
    with reading(path) as connection:
        assert [row.call for row in sightings(connection, 0, NOON_S)] == calls


def test_the_same_call_on_two_bands_is_two_sightings(path: Path) -> None:
    write(path, DiaryBatch(sightings=(sighting(), sighting(band="10m"))))
    with reading(path) as connection:
        assert [row.band for row in sightings(connection, 0, NOON_S)] == [BAND, "10m"]
        assert [row.band for row in sightings(connection, 0, NOON_S, band="10m")] == ["10m"]


def test_of_two_accounts_of_a_slot_the_fuller_stays(path: Path) -> None:
    accounts = [SlotRow(NOON_S, BAND, decodes, 0, 0, 0) for decodes in (3, 7, 5)]
    write(path, *(DiaryBatch(slots=(row,)) for row in accounts))
    assert [row[3] for row in contents(path)["slot"]] == [7]


def test_checkpoint_and_snapshot_are_those_of_the_last_batch(path: Path) -> None:
    write(path, full_batch(1), full_batch(2))
    with Diary(path) as diary:
        assert diary.checkpoints() == {"decodes.log": '{"offset": 2}'}
        assert diary.recall(BAND).snapshot == '{"number": 2}'
        assert diary.recall(BAND).watched_until_s == NOON_S + 120 + 59
        assert diary.recall("10m").snapshot is None


def test_what_a_wrong_clock_said_is_struck_out_written_or_waiting(path: Path, tmp_path: Path) -> None:
    wrong = DiaryBatch(
        states=(StateRow(NOON_S, BAND, State.QUIET, "so"), StateRow(NOON_S + DAY_S, BAND, State.BLIND, "so")),
        health=(HealthRow(NOON_S + DAY_S, "broker", True),),
    )
    right = DiaryBatch(
        struck=(Struck(BAND, NOON_S + 60),),
        states=(StateRow(NOON_S + 2 * DAY_S, BAND, State.OPEN, "so"),),
    )
    write(path, wrong, right)
    write(tmp_path / "joined.sqlite", wrong.then(right))
    for diary in (path, tmp_path / "joined.sqlite"):
        rows = contents(diary)
        assert [(row[1], row[2]) for row in rows["state_change"]] == [
            (1000 * NOON_S, "quiet"), (1000 * (NOON_S + 2 * DAY_S), "open"),
        ]  # fmt: skip
        assert rows["health"] == []


def test_recent_lines_are_added_until_a_whole_text_takes_their_place(path: Path) -> None:
    batches = [
        DiaryBatch(recents=(Recent(BAND, ("[1]", "[2]")), Recent("10m", ("[9]",)))),
        DiaryBatch(recents=(Recent(BAND, ()),)),
        DiaryBatch(recents=(Recent(BAND, ("[3]",)),)),
    ]
    write(path, *batches)
    with Diary(path) as diary:
        assert diary.recall(BAND).recent == ("[1]", "[2]", "[3]")
        diary.write(DiaryBatch(recents=(Recent(BAND, ("[3]", "[4]"), is_whole=True),)))
        diary.write(DiaryBatch(recents=(Recent(BAND, ("[5]",)),)))
        assert diary.recall(BAND).recent == ("[3]", "[4]", "[5]")
        assert diary.recall("10m").recent == ("[9]",)
        diary.write(DiaryBatch(recents=(Recent(BAND, (), is_whole=True),)))
        assert diary.recall(BAND).recent == ()


def test_recent_lines_that_wait_together_are_written_as_if_one_by_one(path: Path, tmp_path: Path) -> None:
    batches = [
        DiaryBatch(recents=(Recent(BAND, ("[1]",)),)),
        DiaryBatch(recents=(Recent(BAND, ("[2]",)), Recent("10m", ("[9]",)))),
        DiaryBatch(recents=(Recent(BAND, ("[2]", "[3]"), is_whole=True),)),
        DiaryBatch(recents=(Recent(BAND, ("[4]",)),)),
    ]
    joined = DiaryBatch()
    for batch in batches:
        joined = joined.then(batch)
    write(path, *batches)
    write(tmp_path / "joined.sqlite", DiaryBatch(recents=(Recent(BAND, ("[0]",)),)), joined)
    with Diary(path) as one, Diary(tmp_path / "joined.sqlite") as other:
        assert one.recall(BAND).recent == other.recall(BAND).recent == ("[2]", "[3]", "[4]")


def test_a_damaged_piece_of_recent_lines_costs_only_itself(path: Path) -> None:
    write(path, *(DiaryBatch(recents=(Recent(BAND, (f"[{number}]",)),)) for number in range(3)))
    with Diary(path) as diary:
        connection = connect(path)
        connection.execute("UPDATE memory SET value = x'00ff' WHERE kind = 'recent' AND name LIKE '%2'")
        connection.close()
        assert diary.recall(BAND).recent == ("[0]", "[2]")


def test_recall_gives_back_what_was_learned(path: Path) -> None:
    rows = (
        sighting(NOON_S, "SV1QAB", locator="KM17"),
        sighting(NOON_S + DAY_S, "SV1QAB", locator="KM18"),
        sighting(NOON_S, "SV1QAB", locator="KM20"),  # an older line, read late: the newest locator stays
        sighting(NOON_S + DAY_S, "DL5QAB", locator=None, country=None),
        sighting(NOON_S, "ZL1QAB", locator="RF73", country="New Zealand", trust=0.2),
    )
    states = (StateRow(NOON_S, BAND, State.QUIET, "nothing far"),)
    watched = (Watched(BAND, NOON_S + DAY_S),)
    with Diary(path) as diary:
        diary.write(DiaryBatch(sightings=rows, states=states, watched=watched))
        diary.write(DiaryBatch(openings=(OpeningRow(BAND, opening()),)))
        recall = diary.recall(BAND)
    day = int(NOON_S // DAY_S)
    assert recall.locators == {"SV1QAB": "KM18", "ZL1QAB": "RF73"}
    assert recall.days_heard["SV1QAB"] == {day, day + 1}
    assert next(iter(recall.days_heard)) == "ZL1QAB"  # the calls heard last stand at the end
    assert recall.watched_days == {day, day + 1}
    assert recall.squares == {"KM17", "KM18", "KM20"}  # not RF73: more likely false than not
    assert recall.countries == {"Greece"}
    assert recall.farthest_km == {Mode.SPORADIC_E: 2050}
    assert recall.live_openings == (opening(),)


def test_recall_goes_back_weeks_and_not_years(path: Path) -> None:
    at_s = [NOON_S + day * DAY_S for day in (0, 300, 359, 360)]
    with Diary(path) as diary:
        diary.write(
            DiaryBatch(
                sightings=tuple(sighting(each) for each in at_s),
                states=(StateRow(at_s[0], BAND, State.QUIET, "nothing far"),),
                watched=(Watched(BAND, at_s[-1]),),
            )
        )
        recall = diary.recall(BAND)
    day = int(NOON_S // DAY_S)
    assert recall.days_heard == {"SV1QAB": frozenset({day + 300, day + 359, day + 360})}
    assert recall.watched_days == frozenset(range(day + 300, day + 361))


def test_a_damaged_snapshot_is_no_snapshot(path: Path) -> None:
    write(path, full_batch())
    with closing(connect(path)) as connection:
        connection.execute("UPDATE memory SET value = x'00ff' WHERE kind = 'snapshot'")
    with Diary(path) as diary:
        assert diary.recall(BAND).snapshot is None


def test_a_row_that_nothing_can_hold_is_left_out_and_counted(path: Path) -> None:
    nan = float("nan")
    rows = (sighting(nan), sighting(-5.0), sighting(1e12), sighting(bearing_deg=nan), sighting(snr_db=nan))
    with Diary(path) as diary:
        diary.write(DiaryBatch(sightings=rows, snapshots=(Snapshot(BAND, "\udc80"),)))
        assert diary.refused_rows == 5
    with reading(path) as connection:
        assert [row.snr_db for row in sightings(connection, 0, NOON_S)] == [None]


@settings(deadline=None)  # each example makes a file
@given(call=st.text(max_size=30), locator=st.none() | st.text(max_size=30))
def test_no_received_text_disturbs_the_diary(
    tmp_path_factory: pytest.TempPathFactory, call: str, locator: str | None
) -> None:
    path = tmp_path_factory.mktemp("hostile") / "diary.sqlite"
    write(path, DiaryBatch(sightings=(sighting(call=call, locator=locator),)))
    with reading(path) as connection:
        (row,) = sightings(connection, 0, NOON_S)
    assert not {unicodedata.category(c) for c in row.call + (row.locator or "")} & {"Cc", "Cf", "Cs"}
    assert row.distance_km == 2050.0


@settings(deadline=None)
@given(bearing_deg=st.floats(-720, 720))
def test_a_bearing_is_kept_in_the_circle(
    tmp_path_factory: pytest.TempPathFactory, bearing_deg: float
) -> None:
    path = tmp_path_factory.mktemp("circle") / "diary.sqlite"
    write(path, DiaryBatch(sightings=(sighting(bearing_deg=bearing_deg),)))
    with reading(path) as connection:
        (row,) = sightings(connection, 0, NOON_S)
    assert 0 <= row.bearing_deg < 360
    assert abs((row.bearing_deg - bearing_deg + 180) % 360 - 180) <= 0.051


def test_every_commit_is_synced_to_the_card(path: Path) -> None:
    # SQLite, "PRAGMA synchronous": in WAL mode only FULL (2) syncs the log after each transaction.
    settings: dict[str, object] = {}

    def spy(where: Path) -> sqlite3.Connection:
        connection = connect(where)
        settings["connection"] = connection
        return connection

    with Diary(path, spy):
        connection = settings["connection"]
        assert isinstance(connection, sqlite3.Connection)
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert connection.execute("PRAGMA synchronous").fetchone() == (2,)


@pytest.mark.parametrize("content", [b"this is not a database\n" * 400, b"\0" * 8192], ids=["text", "zeros"])
def test_a_damaged_diary_is_set_aside_and_a_new_one_begins(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    path.with_name("diary.sqlite-wal").write_bytes(content)
    with Diary(path) as diary:
        diary.write(full_batch())
        assert "diary.sqlite.damaged-1" in diary.note
    assert (path.parent / "diary.sqlite.damaged-1").read_bytes() == content
    assert (path.parent / "diary.sqlite.damaged-1-wal").read_bytes() == content
    assert len(contents(path)["opening"]) == 1


def test_a_diary_with_a_torn_page_is_set_aside_each_time_under_a_new_name(path: Path) -> None:
    for number in (1, 2):
        write(path, *(full_batch(n) for n in range(60)))
        damaged = bytearray(path.read_bytes())
        damaged[1024 * 8 : 1024 * 60] = b"\xa5" * (1024 * 52)
        path.write_bytes(damaged)
        with Diary(path) as diary:
            assert f"damaged-{number}" in diary.note
        assert (path.parent / f"diary.sqlite.damaged-{number}").read_bytes() == bytes(damaged)


def damage_table(path: Path, table: str) -> None:
    """Overwrite the table's first page, as a worn card might."""
    with closing(connect(path)) as connection:
        (page,) = connection.execute("SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)).fetchone()
    content = bytearray(path.read_bytes())
    content[1024 * (page - 1) : 1024 * page] = b"\xa5" * 1024
    path.write_bytes(content)


@pytest.mark.parametrize("table", ["sighting", "notable"])
def test_what_is_not_damaged_is_saved_into_the_new_diary(path: Path, table: str) -> None:
    write(path, *(full_batch(n) for n in range(60)))
    before = contents(path)
    damage_table(path, table)
    with Diary(path) as diary:
        assert diary.checkpoints() == {"decodes.log": '{"offset": 59}'}
        assert diary.recall(BAND).snapshot == '{"number": 59}'
        assert " rows saved" in diary.note
    after = contents(path)
    for kept in {"memory", "opening", "state_change", "station", "heard_day", "first_heard"} - {table}:
        assert sorted(after[kept]) == sorted(before[kept])
    assert after[table] == []


def test_an_opening_that_is_damaged_itself_is_left_behind(path: Path) -> None:
    write(path, *(full_batch(n) for n in range(3)))
    with closing(connect(path)) as connection:
        connection.execute("UPDATE opening SET detail = '{\"likeli' WHERE id = 'opening-1'")
    damage_table(path, "sighting")
    with Diary(path), reading(path) as connection:
        assert [row.opening.id for row in openings(connection)] == ["opening-0", "opening-2"]


def test_a_card_that_spoils_every_diary_is_not_filled_with_them(path: Path) -> None:
    for number in range(1, 10):
        path.with_name(f"diary.sqlite.damaged-{number}").write_bytes(b"spoilt")
    path.write_bytes(b"spoilt again")
    with pytest.raises(DiaryUnavailable, match="9 damaged diaries lie beside it"):
        Diary(path).open()
    assert path.read_bytes() == b"spoilt again"


def test_a_sound_diary_is_never_set_aside(path: Path) -> None:
    write(path, *(full_batch(n) for n in range(60)))
    with Diary(path) as diary:
        assert diary.note == ""
    assert sorted(each.name for each in path.parent.iterdir()) == ["diary.sqlite"]


def test_the_database_of_another_program_is_refused_and_left_alone(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE theirs (x)")
    before = path.read_bytes()
    with pytest.raises(DiaryUnavailable, match="another program"):
        Diary(path).open()
    with pytest.raises(DiaryUnavailable, match="another program"), reading(path):
        pass
    assert path.read_bytes() == before


def test_the_diary_of_a_newer_sentinel_is_refused_and_left_alone(path: Path) -> None:
    write(path, full_batch())
    with closing(connect(path)) as connection:
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    before = path.read_bytes()
    with pytest.raises(DiaryUnavailable, match="newer Sentinel"):
        Diary(path).open()
    with pytest.raises(DiaryUnavailable, match="newer Sentinel"), reading(path):
        pass
    assert path.read_bytes() == before


def test_a_migration_happens_whole_or_not_at_all(path: Path) -> None:
    steps: Sequence[Sequence[str]] = (
        *MIGRATIONS,
        ("ALTER TABLE slot ADD COLUMN noise_db REAL", "CREATE TABLE broken (", "CREATE TABLE after (x)"),
    )
    write(path, full_batch())
    with closing(connect(path)) as connection:
        with pytest.raises(sqlite3.OperationalError):
            migrate(connection, steps)
        assert schema_version(connection) == len(MIGRATIONS)
        assert "noise_db" not in [row[1] for row in connection.execute("PRAGMA table_xinfo(slot)")]
        migrate(connection, (*MIGRATIONS, (steps[-1][0],)))
        assert schema_version(connection) == len(MIGRATIONS) + 1
        assert connection.execute("SELECT decodes, noise_db FROM slot").fetchall() == [(5, None)]


def test_a_diary_that_was_moved_away_is_begun_anew(path: Path) -> None:
    with Diary(path) as diary:
        diary.write(full_batch(1))
        path.rename(path.with_name("yesterday.sqlite"))
        for part in ("-wal", "-shm"):
            path.with_name(path.name + part).rename(path.with_name("yesterday.sqlite" + part))
        diary.write(full_batch(2))
    assert [row[1] for row in contents(path)["opening"]] == ["opening-2"]
    assert [row[1] for row in contents(path.with_name("yesterday.sqlite"))["opening"]] == ["opening-1"]


def days_of_sightings(count: int, first_s: float = NOON_S) -> list[DiaryBatch]:
    calls = [f"DL{digit}Q{letter}A" for digit in range(10) for letter in "ABCD"]
    return [
        DiaryBatch(sightings=tuple(sighting(first_s + DAY_S * day, call) for call in calls))
        for day in range(count)
    ]


def row_count(path: Path) -> int:
    return sum(len(rows) for rows in contents(path).values())


def days_left(path: Path) -> list[int]:
    with reading(path) as connection:
        return sorted({int((row.at_s - NOON_S) // DAY_S) for row in sightings(connection, 0, 4e9)})


def test_pruning_drops_the_detail_that_is_too_old(path: Path) -> None:
    with Diary(path) as diary:
        for batch in days_of_sightings(30):
            diary.write(batch)
        before = row_count(path)
        dropped = diary.prune(NOON_S + 29 * DAY_S + 1, PruneRule(keep_days=10))
        assert dropped == before - row_count(path)
        assert diary.prune(NOON_S + 29 * DAY_S + 1, PruneRule(keep_days=10)) == 0
    assert days_left(path) == list(range(20, 30))


def test_pruning_in_short_steps_drops_the_same_rows(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sentinel.outputs.diary_prune.CHUNK_ROWS", 7)  # fewer than there are at one moment
    with Diary(path) as diary:
        for batch in days_of_sightings(15):
            diary.write(batch)
        diary.write(DiaryBatch(health=tuple(HealthRow(NOON_S, f"part {n}", True) for n in range(40))))
        before = row_count(path)
        dropped = diary.prune(NOON_S + 14 * DAY_S + 1, PruneRule(keep_days=10))
        assert dropped == before - row_count(path)
    assert contents(path)["health"] == []
    assert days_left(path) == list(range(5, 15))


def test_openings_outlive_the_detail_they_were_made_of(path: Path) -> None:
    with Diary(path) as diary:
        diary.write(full_batch())
        diary.write(DiaryBatch(watched=(Watched(BAND, NOON_S + 100 * DAY_S),)))
        diary.prune(NOON_S + 100 * DAY_S, PruneRule(keep_days=10))
    left = contents(path)
    assert left["sighting"] == left["slot"] == left["health"] == []
    assert len(left["opening"]) == len(left["notable"]) == len(left["state_change"]) == 1
    assert left["first_heard"]


@pytest.mark.parametrize("wrong_by_s", [1e8, 1e5, -1e8])
def test_a_wrong_clock_does_not_empty_the_diary(path: Path, wrong_by_s: float) -> None:
    with Diary(path) as diary:
        for batch in days_of_sightings(30):
            diary.write(batch)
        diary.prune(NOON_S + 29 * DAY_S + wrong_by_s, PruneRule(keep_days=28))
    assert set(days_left(path)) >= set(range(3, 30))


def test_a_wrong_clock_in_the_rows_too_costs_a_month_at_most(path: Path) -> None:
    with Diary(path) as diary:
        for batch in days_of_sightings(60):
            diary.write(batch)
        diary.write(DiaryBatch(sightings=(sighting(NOON_S + 3000 * DAY_S),)))
        diary.prune(NOON_S + 3000 * DAY_S, PruneRule(keep_days=60))
    assert set(days_left(path)) >= set(range(32, 60))


def test_a_diary_over_its_size_drops_its_oldest_days_and_keeps_its_openings(path: Path) -> None:
    with Diary(path) as diary:
        for batch in days_of_sightings(200):
            diary.write(batch)
        diary.write(full_batch())
        diary.prune(NOON_S + 200 * DAY_S, PruneRule(max_mb=0.3))
    assert path.stat().st_size <= 0.3e6 * 1.25
    left = days_left(path)
    assert left == list(range(left[0], 200))
    assert 0 < left[0] < 200
    assert len(contents(path)["opening"]) == 1


def test_pruning_finds_damage_that_a_large_diary_hides_at_its_start(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sentinel.outputs.diary_file.FULL_CHECK_BYTES", 0)
    write(path, *days_of_sightings(60))
    damaged = bytearray(path.read_bytes())
    damaged[-1024 * 100 :] = b"\xa5" * (1024 * 100)
    path.write_bytes(damaged)
    with Diary(path) as diary:
        with pytest.raises(DiaryUnavailable, match="damaged"):
            diary.prune(NOON_S)
        diary.write(full_batch())
        assert "damaged-1" in diary.note
    assert len(contents(path)["opening"]) == 1


def test_downtime_is_kept_and_told_twice_counts_once(path: Path) -> None:
    row = DowntimeRow(BAND, NOON_S, NOON_S + 300)
    write(path, DiaryBatch(downtimes=(row,)), DiaryBatch(downtimes=(row,)))
    assert contents(path)["downtime"] == [(BAND, NOON_S * 1000, (NOON_S + 300) * 1000)]


def test_a_batch_knows_what_it_holds() -> None:
    assert DiaryBatch().is_empty
    assert not DiaryBatch(checkpoints=(Checkpoint("a", "{}"),)).is_empty
    assert DiaryBatch(checkpoints=(Checkpoint("a", "{}"),)).rows == 0
    assert full_batch().rows == 7


def test_two_batches_in_one_keep_every_row_and_the_later_of_what_replaces() -> None:
    early, late = OpeningRow(BAND, opening()), OpeningRow(BAND, opening(stations=5))
    other = OpeningRow("10m", opening())
    both = DiaryBatch(openings=(early, other), checkpoints=(Checkpoint("a", "1"), Checkpoint("b", "1"))).then(
        DiaryBatch(openings=(late,), checkpoints=(Checkpoint("a", "2"),))
    )
    assert both.openings == (late, other)
    assert both.checkpoints == (Checkpoint("a", "2"), Checkpoint("b", "1"))
    rows = (sighting(), sighting(NOON_S + 1))
    assert DiaryBatch(sightings=rows[:1]).then(DiaryBatch(sightings=rows[1:])) == DiaryBatch(sightings=rows)


def test_a_time_survives_to_the_millisecond(path: Path) -> None:
    at_s = NOON_S + 7.5
    write(path, DiaryBatch(sightings=(sighting(at_s),)))
    with reading(path) as connection:
        (row,) = sightings(connection, 0, at_s)
        assert row.at_s == at_s
        assert list(sightings(connection, at_s, at_s + 1)) == []
        assert isinstance(row, SightingRow)
