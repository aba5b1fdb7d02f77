"""The diary's answers: which openings, how often, and in what form they leave."""

import csv
import io
import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from diary_samples import BAND, NOON_S, OPENING, opening, sighting
from hypothesis import given, settings
from hypothesis import strategies as st

from sentinel.errors import ConfigError
from sentinel.outputs.diary import Diary, DiaryUnavailable
from sentinel.outputs.diary_export import DAYS, HOURS, NOTABLES, OPENINGS, SIGHTINGS, write_csv, write_json
from sentinel.outputs.diary_queries import OpeningFilter, openings, reading, sightings
from sentinel.outputs.diary_rows import (
    NOT_RUNNING,
    DiaryBatch,
    DowntimeRow,
    NotableRow,
    OpeningRow,
    StateRow,
    Watched,
)
from sentinel.outputs.diary_spans import pieces, spans_of
from sentinel.outputs.diary_statistics import HourOfMonth, days, hour_by_month
from sentinel.outputs.diary_tables import format_days_table, format_hours_table, format_openings_table
from sentinel.outputs.direction import POINTS, point_of, read_direction
from sentinel.watch.bulletin import Mode, Notable, State

HOUR_S, DAY_S = 3600, 86_400
MIDNIGHT_S = NOON_S - 12 * HOUR_S


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "diary.sqlite"


def write(path: Path, batch: DiaryBatch) -> None:
    with Diary(path) as diary:
        diary.write(batch)


def state(at_s: float, now: State) -> StateRow:
    return StateRow(at_s, BAND, now, f"it is {now}")


def on_day(day: int, id_: str, band: str = BAND, **changes: object) -> OpeningRow:
    """An opening of 15 minutes that began at noon."""
    began_s = NOON_S + day * DAY_S
    times = {"began_at_s": began_s, "last_at_s": began_s + 880, "ended_at_s": began_s + 900}
    return OpeningRow(band, opening(id=id_, **(times | changes)))


VARIED = (
    on_day(0, "north", bearing_deg=358.0),
    on_day(1, "east", bearing_deg=92.0, ended_at_s=None),
    on_day(2, "f2", bearing_deg=8.0, mode=Mode.F2, peak_stations=2),
    on_day(3, "ten", "10m", bearing_deg=271.0),
)


@pytest.mark.parametrize(
    ("wanted", "ids"),
    [
        (OpeningFilter(), ["north", "east", "f2", "ten"]),
        (OpeningFilter(band="10m"), ["ten"]),
        (OpeningFilter(mode=Mode.F2), ["f2"]),
        (OpeningFilter(min_stations=3), ["north", "east", "ten"]),
        (OpeningFilter(bearing_deg=0, width_deg=10), ["north", "f2"]),
        (OpeningFilter(bearing_deg=355, width_deg=5), ["north"]),
        (OpeningFilter(bearing_deg=270, width_deg=2), ["ten"]),
        (OpeningFilter(bearing_deg=0, width_deg=180), ["north", "east", "f2", "ten"]),
        (OpeningFilter(since_s=NOON_S + 600, until_s=NOON_S + DAY_S), ["north", "east"]),
        (OpeningFilter(since_s=NOON_S + 900, until_s=NOON_S + DAY_S - 1), []),
        (OpeningFilter(since_s=NOON_S + DAY_S + 879, until_s=NOON_S + 2 * DAY_S), ["east", "f2"]),
        (OpeningFilter(since_s=NOON_S + DAY_S + 880, until_s=NOON_S + 2 * DAY_S), ["f2"]),
        (OpeningFilter(band="6m' OR '1'='1"), []),
    ],
)
def test_openings_are_found_by_date_direction_mode_and_band(
    path: Path, wanted: OpeningFilter, ids: list[str]
) -> None:
    write(path, DiaryBatch(openings=VARIED))
    with reading(path) as connection:
        assert [row.opening.id for row in openings(connection, wanted)] == ids


@settings(deadline=None)  # each example makes a file
@given(
    bearings=st.lists(st.floats(0, 360, exclude_max=True), min_size=1, max_size=20, unique=True),
    centre_deg=st.floats(0, 360),
    width_deg=st.floats(0.5, 179.5),
)
def test_the_direction_filter_keeps_what_lies_within_the_angle(
    tmp_path_factory: pytest.TempPathFactory, bearings: list[float], centre_deg: float, width_deg: float
) -> None:
    path = tmp_path_factory.mktemp("angles") / "diary.sqlite"
    rows = tuple(OpeningRow(BAND, opening(id=repr(deg), bearing_deg=deg)) for deg in bearings)
    write(path, DiaryBatch(openings=rows))
    wanted = OpeningFilter(bearing_deg=centre_deg, width_deg=width_deg)
    with reading(path) as connection:
        found = {row.opening.bearing_deg for row in openings(connection, wanted)}
    for bearing_deg in bearings:
        off_deg = abs((bearing_deg - centre_deg + 180) % 360 - 180)
        if abs(off_deg - width_deg) > 1e-6:
            assert (bearing_deg in found) == (off_deg < width_deg)


def test_a_missing_diary_is_one_sentence_and_is_not_begun_by_looking(path: Path) -> None:
    with pytest.raises(DiaryUnavailable, match="there is no diary"), reading(path):
        pass
    assert not path.exists()


def test_the_diary_can_be_read_while_it_is_written(path: Path) -> None:
    with Diary(path) as diary:
        diary.write(DiaryBatch(sightings=(sighting(NOON_S),)))
        with reading(path) as connection:
            assert len(list(sightings(connection, 0, NOON_S + 10))) == 1
            diary.write(DiaryBatch(sightings=(sighting(NOON_S + 1),)))
            assert len(list(sightings(connection, 0, NOON_S + 10))) == 2


def test_a_reader_cannot_write(path: Path) -> None:
    write(path, DiaryBatch(sightings=(sighting(),)))
    with pytest.raises(DiaryUnavailable, match="read-only"), reading(path) as connection:
        connection.execute("DELETE FROM sighting")


def cell(cells: tuple[HourOfMonth, ...], month: int, hour: int) -> HourOfMonth:
    return next(each for each in cells if (each.month, each.hour) == (month, hour))


def a_watched_day(path: Path) -> None:
    """10:00 quiet, 12:00 open, 12:30 quiet, 14:00 blind, 15:00 to 16:00 quiet but switched off from 15:30."""
    changes = (
        state(NOON_S - 2 * HOUR_S, State.QUIET),
        state(NOON_S, State.OPEN),
        state(NOON_S + 1800, State.QUIET),
        state(NOON_S + 2 * HOUR_S, State.BLIND),
        state(NOON_S + 3 * HOUR_S, State.QUIET),
    )
    batch = DiaryBatch(
        sightings=(sighting(NOON_S), sighting(NOON_S + 60, distance_km=9000.0, trust=0.1)),
        states=changes,
        openings=(OpeningRow(BAND, opening(ended_at_s=NOON_S + 1800)),),
        downtimes=(DowntimeRow(BAND, NOON_S + 3.5 * HOUR_S, NOON_S + 4 * HOUR_S),),
        watched=(Watched(BAND, NOON_S + 4 * HOUR_S),),
    )
    write(path, batch)


def test_how_often_is_counted_against_the_watched_time_alone(path: Path) -> None:
    a_watched_day(path)
    with reading(path) as connection:
        cells = hour_by_month(connection, BAND)
    assert len(cells) == 12 * 24
    assert cell(cells, 6, 12) == HourOfMonth(6, 12, 3600, 0, 1800, 1)
    assert cell(cells, 6, 12).open_share == 0.5
    assert cell(cells, 6, 11).open_share == 0.0
    assert cell(cells, 6, 14).open_share is None  # blind
    assert cell(cells, 6, 15) == HourOfMonth(6, 15, 1800, 0, 0, 0)  # switched off for half of it
    assert cell(cells, 6, 9).open_share is None  # before the first change
    assert cell(cells, 6, 16).open_share is None  # after the last sign of life
    assert sum(each.watched_s for each in cells) == 4.5 * HOUR_S


def test_a_day_says_where_its_hours_went(path: Path) -> None:
    a_watched_day(path)
    with reading(path) as connection:
        (day,) = days(connection, BAND, MIDNIGHT_S - DAY_S, MIDNIGHT_S + 2 * DAY_S)
        assert days(connection, BAND, MIDNIGHT_S + DAY_S, MIDNIGHT_S + 2 * DAY_S) == ()
        assert days(connection, "10m", 0, 4e9) == ()
    assert day.day_s == MIDNIGHT_S
    assert (day.watched_s, day.open_s, day.stirring_s) == (4.5 * HOUR_S, 1800, 0)
    assert (day.blind_s, day.down_s) == (1.5 * HOUR_S, 1800)
    assert (day.openings, day.stations, day.farthest_km) == (1, 1, 2050)  # not the doubtful 9,000 km


states = st.sampled_from(list(State))
moments = st.integers(0, 500)


@settings(deadline=None)
@given(
    changes=st.dictionaries(moments, states, max_size=12),
    downtimes=st.lists(st.tuples(moments, moments), max_size=6),
    alive_until=moments,
)
def test_spans_say_for_each_second_what_the_changes_and_the_downtime_say(
    changes: dict[int, State], downtimes: list[tuple[int, int]], alive_until: int
) -> None:
    spans = spans_of(
        [state(at, now) for at, now in changes.items()],
        [DowntimeRow(BAND, since, until) for since, until in downtimes],
        alive_until,
    )
    shown: dict[int, State] = {}
    for span in spans:
        assert span.since_s < span.until_s
        for second in range(int(span.since_s), int(span.until_s)):
            assert second not in shown
            shown[second] = span.state
    last_change = max(changes, default=-1)
    for second in range(500):
        before = [at for at in changes if at <= second]
        if any(since <= second < until for since, until in downtimes):
            expected = State.BLIND
        elif before and (second < last_change or second < alive_until):
            expected = changes[max(before)]
        else:
            assert second not in shown
            continue
        assert shown[second] is expected


@settings(deadline=None)
@given(changes=st.dictionaries(st.integers(0, 10**6), states, max_size=12), step_s=st.integers(600, 90_000))
def test_cutting_spans_into_pieces_loses_no_time(changes: dict[int, State], step_s: int) -> None:
    spans = spans_of([state(at, now) for at, now in changes.items()], [], 10**6 + 1)
    cut = list(pieces(spans, step_s))
    assert sum(piece.lasts_s for _, piece in cut) == pytest.approx(sum(span.lasts_s for span in spans))
    for start_s, piece in cut:
        assert start_s % step_s == 0
        assert start_s <= piece.since_s < piece.until_s <= start_s + step_s


def test_downtime_is_told_apart_from_a_deaf_receiver() -> None:
    spans = spans_of([state(0, State.BLIND)], [DowntimeRow(BAND, 10, 20)], 30)
    assert [(span.state, span.is_downtime) for span in spans] == [
        (State.BLIND, False),
        (State.BLIND, True),
        (State.BLIND, False),
    ]
    assert spans[1].blind_reason == NOT_RUNNING


def parsed(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_csv_has_one_record_an_opening_and_iso_times() -> None:
    out = io.StringIO(newline="")
    write_csv(out, OPENINGS, [OpeningRow(BAND, OPENING)])
    header, _, rest = out.getvalue().split("\r\n")
    assert rest == ""
    assert header.split(",") == list(OPENINGS.columns)
    (row,) = parsed(out.getvalue())
    assert row["began_at"] == datetime.fromtimestamp(NOON_S, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    assert row["ended_at"] == ""
    assert row["bearing_deg"] == "118.5"
    assert row["best_snr_db"] == "-3.0"  # a number, not a formula
    assert row["locators"] == "JM76 JN80 KM17"


def test_csv_quotes_as_rfc_4180_says() -> None:
    # RFC 4180, section 2, rules 6 and 7: commas are enclosed in quotes, a quote is doubled.
    sentence = 'First, and "loud"'
    out = io.StringIO(newline="")
    write_csv(out, NOTABLES, [NotableRow(BAND, Notable("1", NOON_S, "new-square", "SV1QAB", sentence))])
    assert '"First, and ""loud"""' in out.getvalue()
    assert parsed(out.getvalue())[0]["sentence"] == sentence


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_text_cell_can_run_as_a_formula(start: str) -> None:
    hostile = start + 'HYPERLINK("http://example.org")'
    out = io.StringIO(newline="")
    write_csv(out, SIGHTINGS, [sighting(call=hostile)])
    assert parsed(out.getvalue())[0]["call"] == "'" + hostile


def test_json_is_one_document_with_the_same_content(path: Path) -> None:
    out = io.StringIO()
    write_json(out, OPENINGS, VARIED)
    document = json.loads(out.getvalue())
    assert out.getvalue().isascii()
    assert (document["v"], document["kind"]) == (1, "openings")
    assert [row["id"] for row in document["rows"]] == ["north", "east", "f2", "ten"]
    assert document["rows"][1]["ended_at"] is None
    assert document["rows"][2]["mode"] == "f2"


@pytest.mark.parametrize("table", [OPENINGS, SIGHTINGS, NOTABLES, HOURS, DAYS], ids=lambda table: table.name)
def test_an_empty_export_is_still_well_formed(table: object) -> None:
    out = io.StringIO()
    write_json(out, table, [])  # type: ignore[arg-type]
    assert json.loads(out.getvalue())["rows"] == []
    out = io.StringIO(newline="")
    write_csv(out, table, [])  # type: ignore[arg-type]
    assert out.getvalue().count("\r\n") == 1


def test_statistics_export_every_cell_and_leave_the_unknown_empty(path: Path) -> None:
    a_watched_day(path)
    with reading(path) as connection:
        cells = hour_by_month(connection, BAND)
        summaries = days(connection, BAND, 0, 4e9)
    out = io.StringIO(newline="")
    write_csv(out, HOURS, cells)
    rows = parsed(out.getvalue())
    assert len(rows) == 288
    noon = next(row for row in rows if (row["month"], row["hour"]) == ("6", "12"))
    assert (noon["watched_min"], noon["open_min"], noon["open_share"]) == ("60.0", "30.0", "0.5")
    assert rows[0]["open_share"] == ""
    out = io.StringIO(newline="")
    write_csv(out, DAYS, summaries)
    (day,) = parsed(out.getvalue())
    assert (day["blind_min"], day["down_min"], day["farthest_km"]) == ("90.0", "30.0", "2050")


def test_the_table_of_openings_lines_up() -> None:
    ended = opening(ended_at_s=NOON_S + 3900, locators=("JM76", "JN80", "KM17", "KM18", "KN20"))
    text = format_openings_table([OpeningRow(BAND, OPENING), OpeningRow(BAND, ended)])
    head, live, over = text.splitlines()
    assert live.index("sporadic-e") == over.index("sporadic-e") == head.index("mode")
    assert "0:15+" in live
    assert "1:05 " in over
    assert "118 ESE" in live
    assert over.endswith("KM18 and 1 more")
    assert format_openings_table([]) == "No openings.\n"


def test_the_table_of_hours_tells_not_watched_from_never_open(path: Path) -> None:
    a_watched_day(path)
    with reading(path) as connection:
        lines = format_hours_table(hour_by_month(connection, BAND)).splitlines()
        assert "4:30" in format_days_table(days(connection, BAND, 0, 4e9))
    june = lines[6]
    columns = [june[4 + 4 * hour : 8 + 4 * hour].strip() for hour in range(24)]
    assert columns == [""] * 10 + [".", ".", "50", ".", "", "."] + [""] * 8


DIRECTIONS = [
    *[("N", 0, 22.5), ("se", 135, 22.5), ("ESE", 112.5, 11.25), ("95", 95, 22.5), ("360", 0, 22.5)],
    *[("80-120", 100, 20), ("350-20", 5, 15), ("270 - 90", 0, 90), ("350-10", 0, 10), ("10-350", 180, 170)],
    *[("0-360", 180, 180), ("360-0", 180, 180), ("90-90", 90, 22.5), ("0-0", 0, 22.5), ("360-360", 0, 22.5)],
    *[("359-360", 359.5, 0.5), ("0-1", 0.5, 0.5)],
]


@pytest.mark.parametrize(("text", "bearing_deg", "width_deg"), DIRECTIONS)
def test_a_direction_is_read_as_operators_write_it(text: str, bearing_deg: float, width_deg: float) -> None:
    assert read_direction(text) == (bearing_deg, width_deg)


@pytest.mark.parametrize(("direction", "found"), [("0-360", 3), ("360-0", 3), ("350-10", 1), ("90-90", 1)])
def test_all_round_finds_openings_everywhere(direction: str, found: int, path: Path) -> None:
    bearings = (3.0, 92.5, 200.0)
    rows = tuple(OpeningRow(BAND, opening(id=f"{deg}", bearing_deg=deg)) for deg in bearings)
    write(path, DiaryBatch(openings=rows))
    bearing_deg, width_deg = read_direction(direction)
    with reading(path) as connection:
        wanted = OpeningFilter(bearing_deg=bearing_deg, width_deg=width_deg)
        assert len(list(openings(connection, wanted))) == found


@pytest.mark.parametrize("text", ["", "south", "400", "-5", "90-", "nan", "90-nan", "1e3", "\x1b[31m"])
def test_what_is_no_direction_is_refused_with_a_mend(text: str) -> None:
    with pytest.raises(ConfigError, match="compass point") as caught:
        read_direction(text)
    assert "\x1b" not in str(caught.value)


def test_each_point_is_the_nearest_to_its_own_bearing() -> None:
    assert [point_of(22.5 * n) for n in range(16)] == list(POINTS)
    assert point_of(359.9) == "N"
    assert point_of(11.3) == "NNE"
