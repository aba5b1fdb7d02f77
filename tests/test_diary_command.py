"""``sentinel diary``: lists, counts, exports and plots, and one sentence for whatever is wrong."""

import csv
import io
import json
from pathlib import Path

import pytest
from diary_samples import BAND, NOON_S, opening, sighting

from sentinel.cli import main
from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_how_often import between, hours_of, watched_h
from sentinel.outputs.diary_rows import DiaryBatch, NotableRow, OpeningRow, StateRow, Watched
from sentinel.outputs.diary_spans import Span
from sentinel.watch.bulletin import Mode, Notable, State

HOUR_S, DAY_S = 3600, 86_400


def opened(
    id_: str, day: float, bearing_deg: float, mode: Mode, minutes: float = 30, **changes: object
) -> OpeningRow:
    began_s = NOON_S + day * DAY_S
    times = {
        "began_at_s": began_s,
        "last_at_s": began_s + 60 * minutes,
        "ended_at_s": began_s + 60 * minutes + 900,
    }
    return OpeningRow(BAND, opening(id=id_, bearing_deg=bearing_deg, mode=mode, **(times | changes)))


@pytest.fixture
def diary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Ten days of June 2025, with four openings on 6 m and one on 10 m, where a command looks by itself."""
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    path = tmp_path / "diary.sqlite"
    evening = [
        sighting(
            NOON_S + 60 * k,
            f"SV{k % 10}QAB",
            bearing_deg=120.0,
            distance_km=1900.0 - 20 * k,
            snr_db=2.0,
            trust=0.97,
        )
        for k in range(20)
    ]
    with Diary(path) as open_diary:
        open_diary.write(
            DiaryBatch(
                states=(
                    StateRow(NOON_S - DAY_S, BAND, State.QUIET, "quiet"),
                    StateRow(NOON_S, BAND, State.OPEN, "open"),
                    StateRow(NOON_S + 1800, BAND, State.QUIET, "quiet"),
                ),
                sightings=tuple(evening),
                openings=(
                    opened("es", 0, 118.0, Mode.SPORADIC_E),
                    opened("es again", 3, 125.0, Mode.SPORADIC_E, 90, peak_stations=2, muf_mhz=None),
                    opened("es west", 3.01, 270.0, Mode.SPORADIC_E, muf_mhz=None),
                    opened("tep", 5, 180.0, Mode.TRANSEQUATORIAL, muf_mhz=None),
                    OpeningRow("10m", opening(id="ten", bearing_deg=118.0)),
                ),
                notables=(
                    NotableRow(BAND, Notable("n", NOON_S, "new-square", "SV1QAB", "First \x1b[2J KM17")),
                ),
                watched=(Watched(BAND, NOON_S + 9 * DAY_S),),
            )
        )
    return path


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["diary", *arguments]) == 0
    captured = capsys.readouterr()
    assert captured.err == ""
    return captured.out


def refused(capsys: pytest.CaptureFixture[str], code: int, *arguments: str) -> str:
    assert main(["diary", *arguments]) == code
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    return captured.err


@pytest.mark.parametrize(
    ("arguments", "ids"),
    [
        ([], ["es", "es again", "es west", "tep"]),
        (["--direction", "SE"], ["es", "es again"]),
        (["--direction", "260-280"], ["es west"]),
        (["--mode", "transequatorial"], ["tep"]),
        (["--min-stations", "3"], ["es", "es west", "tep"]),
        (["--since", "2025-06-16"], ["es again", "es west", "tep"]),
        (["--until", "2025-06-16T00:00:00Z", "--mode", "sporadic-e"], ["es"]),
        (["--band", "10m"], ["ten"]),
        (["--band", "nothing'; DROP TABLE opening; --"], []),
    ],
)
def test_openings_are_chosen_by_date_direction_mode_and_band(
    diary: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], ids: list[str]
) -> None:
    rows = json.loads(told(capsys, "--json", *arguments))["rows"]
    assert [row["id"] for row in rows] == ids
    table = told(capsys, *arguments)
    assert table.count("\n20") == len(ids)  # a line for each, with its date


def test_a_list_ends_with_how_often_it_happens(diary: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "4 openings in 240 h watched: about one in 60 h watched." in told(capsys)
    assert "1 opening in 240 h watched: about one in 10 days watched." in told(capsys, "--direction", "W")
    assert "0 openings in 240 h watched." in told(capsys, "--mode", "aurora")
    assert "1 opening in 36 h watched" in told(capsys, "--until", "2025-06-16")
    assert "the time watched is not known" in told(capsys, "--band", "10m")


def test_hour_by_month_is_of_all_openings_or_of_those_chosen(
    diary: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    every = json.loads(told(capsys, "hours", "--json"))["rows"]
    chosen = json.loads(told(capsys, "hours", "--direction", "SE", "--json"))["rows"]
    assert len(every) == len(chosen) == 288

    def at(rows: list[dict[str, float]], hour: int) -> dict[str, float]:
        return next(row for row in rows if (row["month"], row["hour"]) == (6, hour))

    assert at(every, 12)["open_share"] == 0.05  # of ten noons half an hour was open, by the band's state
    assert at(every, 12)["openings"] == 4
    assert at(chosen, 12)["openings"] == 2
    assert at(chosen, 12)["open_min"] == 90.0
    assert at(chosen, 13)["open_min"] == 30.0
    text = told(capsys, "hours", "--mode", "transequatorial")
    assert text.splitlines()[6].startswith("Jun")
    assert "Per cent of the watched time" in text


def test_openings_that_overlap_are_open_once_and_never_longer_than_watched() -> None:
    rows = [opened("a", 0, 90.0, Mode.SPORADIC_E, 30), opened("b", 0.005, 180.0, Mode.F2, 60)]
    day = [Span(NOON_S - DAY_S, NOON_S + DAY_S, State.QUIET)]
    cell = next(c for c in hours_of(day, rows) if (c.month, c.hour) == (6, 12))
    assert (cell.open_s, cell.openings) == (3600.0, 2)
    short = between(day, NOON_S, NOON_S + 600)
    assert next(c for c in hours_of(short, rows) if (c.month, c.hour) == (6, 12)).open_s == 600.0
    assert (
        watched_h(between([*day, Span(NOON_S + DAY_S, NOON_S + 2 * DAY_S, State.BLIND)], None, None)) == 48.0
    )


def test_days_sightings_and_notables_are_told_in_lines(
    diary: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bounds = ("--since", "2025-06-15", "--until", "2025-06-16")
    assert "2025-06-15" in told(capsys, "days", *bounds)
    seen = told(capsys, "sightings", *bounds).splitlines()
    assert len(seen) == 20
    assert seen[0] == "2025-06-15T12:00:00Z  SV0QAB       KM17      1900 km  120  +2 dB"
    notable = told(capsys, "notables", *bounds)
    assert "new-square" in notable
    assert "\x1b" not in notable
    later = ("--since", "2025-06-18", "--until", "2025-06-19")
    assert told(capsys, "sightings", *later) == "No sightings.\n"
    assert told(capsys, "notables", *later) == "Nothing notable.\n"


def test_csv_goes_to_a_file_or_to_standard_output(
    diary: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    printed = told(capsys, "--csv")
    assert told(capsys, "--csv", "--out", str(tmp_path / "out.csv")) == ""
    written = (tmp_path / "out.csv").read_text("utf-8")
    rows = list(csv.DictReader(io.StringIO(written)))
    assert [row["id"] for row in rows] == ["es", "es again", "es west", "tep"]
    assert list(csv.DictReader(io.StringIO(printed))) == rows
    text = tmp_path / "out.txt"
    assert told(capsys, "--out", str(text)) == ""
    assert "240 h watched" in text.read_text("utf-8")


@pytest.mark.parametrize("what", ["openings", "hours", "days", "sightings", "notables"])
def test_bounds_may_lie_beyond_all_time(diary: Path, capsys: pytest.CaptureFixture[str], what: str) -> None:
    wide = ("--since", "0001-01-01", "--until", "9999-12-31T23:59:59", "--json")
    assert json.loads(told(capsys, what, *wide))["rows"]
    never = ("--since", "0001-01-01", "--until", "0001-01-02")
    assert told(capsys, what, *never)


@pytest.mark.parametrize("what", ["openings", "hours", "days", "sightings", "notables"])
def test_everything_is_exported_in_both_forms(
    diary: Path, capsys: pytest.CaptureFixture[str], what: str
) -> None:
    bounds = ("--since", "2025-06-15", "--until", "2025-06-17")
    rows = json.loads(told(capsys, what, "--json", *bounds))["rows"]
    assert rows
    assert len(list(csv.DictReader(io.StringIO(told(capsys, what, "--csv", *bounds))))) == len(rows)


def test_the_configuration_names_diary_and_band(
    diary: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    diary.rename(elsewhere / "own.sqlite")
    config = elsewhere / "sentinel.toml"
    config.write_text(
        '[station]\nlocator = "FN84ab"\n[diary]\npath = "own.sqlite"\n[band]\nname = "10m"\n', "utf-8"
    )
    rows = json.loads(told(capsys, "--config", str(config), "--json"))["rows"]
    assert [row["id"] for row in rows] == ["ten"]
    rows = json.loads(told(capsys, "--diary", str(elsewhere / "own.sqlite"), "--json"))["rows"]
    assert len(rows) == 4
    assert "--diary" in refused(capsys, 1)


@pytest.mark.parametrize(
    ("code", "arguments", "words"),
    [
        (1, ["--diary", "gone.sqlite"], "gone.sqlite"),
        (2, ["--config", "gone.toml"], "gone.toml"),
        (2, ["--direction", "SSX"], "SSX"),
        (2, ["--plot", "hours.pdf"], ".svg or .png"),
        (2, ["--kind", "rose"], "--plot"),
        (2, ["--plot", "a.svg", "--out", "b"], "--out"),
        (2, ["days", "--mode", "f2"], "not days"),
        (2, ["--since", "2025-06-16", "--until", "2025-06-15"], "swap"),
        (1, ["--out", "gone/out.txt"], "cannot be written"),
        (1, ["--plot", "muf.svg", "--since", "2025-06-17"], "MUF"),
    ],
)
def test_what_is_wrong_is_one_sentence(
    diary: Path, capsys: pytest.CaptureFixture[str], code: int, arguments: list[str], words: str
) -> None:
    assert words in refused(capsys, code, *arguments)


def test_a_file_that_is_no_diary_is_refused_and_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "other.sqlite"
    other.write_text("not a database", "utf-8")
    assert "other.sqlite" in refused(capsys, 1, "--diary", str(other))
    assert other.read_text("utf-8") == "not a database"


@pytest.mark.parametrize("kind", ["hours", "rose", "lengths", "muf"])
def test_each_plot_is_drawn_and_named(
    diary: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], kind: str
) -> None:
    pytest.importorskip("matplotlib", reason="matplotlib (extra plots) is not installed")
    by_name = tmp_path / f"{kind}.svg"
    assert told(capsys, "--plot", str(by_name)).strip() == str(by_name)
    by_kind = tmp_path / "picture.svg"
    told(capsys, "--plot", str(by_kind), "--kind", kind)
    assert by_kind.read_bytes() == by_name.read_bytes()
    chosen = tmp_path / "chosen.png"
    told(capsys, "--plot", str(chosen), "--kind", kind, "--direction", "SE", "--since", "2025-06-15")
    assert chosen.read_bytes().startswith(b"\x89PNG")
