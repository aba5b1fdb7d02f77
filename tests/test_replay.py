"""``sentinel replay``: the records that other programs rely on, and what states mean, on handmade logs."""

import contextlib
import io
import json
import random
import signal
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any

import jsonschema
import maidenhead
import pytest
from command_line import sentinel
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from nights import (
    BEYOND_4000_KM,
    CONFIG,
    HOME,
    LAYOUT,
    LOCAL,
    OWN_CALL,
    SCATTERED,
    SLOT_S,
    SOUTH_WEST,
    Heard,
    calling,
    clock,
    evening,
    lines,
    seconds,
)
from pyproj import Geod

from sentinel import cli
from sentinel.commands.timeline_view import JsonView
from sentinel.watch.decode import Decode
from sentinel.watch.settings import WatchSettings
from sentinel.watch.watch import Watch

Record = dict[str, Any]

START_S = seconds("2026-06-14T20:00:00")
MINUTE = 60.0
LONGEST_S = 20.0
STATE_KEYS = ["kind", "at", "state", "previous", "because", "far_stations", "headings"]
HEADING_KEYS = ["bearing_deg", "spread_deg", "stations", "nearest_km", "farthest_km", "mode"]
OPENING_KEYS = [
    "kind", "phase", "at", "id", "began_at", "bearing_deg", "stations", "nearest_km", "farthest_km", "mode",
    "muf_mhz",
]  # fmt: skip
NOTABLE_KEYS = ["kind", "at", "what", "station"]
SUMMARY_KEYS = ["kind", "lines", "decodes", "rejected", "far_stations"]
MODES = {
    "sporadic-e", "multi-hop-sporadic-e", "f2", "transequatorial", "meteor-scatter", "aurora", "tropo",
    "unknown",
}  # fmt: skip


@contextlib.contextmanager
def fuse() -> Iterator[None]:
    """A core that never comes back is a failed test, not a hanging one."""

    def blow(_number: int, _frame: FrameType | None) -> None:
        pytest.fail(f"no end within {LONGEST_S:g} s")

    before = signal.signal(signal.SIGALRM, blow)
    signal.setitimer(signal.ITIMER_REAL, LONGEST_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def at(minutes: float) -> float:
    """So many minutes into the log."""
    return START_S + MINUTE * minutes


def locals_until(minutes: float) -> list[Heard]:
    """A local station, which makes time pass."""
    return list(calling(LOCAL, START_S, at(minutes)))


class Replay:
    """Writes logs and a configuration into a folder and replays them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.configure()

    def configure(self, extra: str = "", layouts: Sequence[str] = (LAYOUT,)) -> None:
        sources = "".join(f'[[source]]\npath = "decodes.log"\nlayout = "{layout}"\n' for layout in layouts)
        station = CONFIG.partition("[[source]]")[0]
        (self.folder / "sentinel.toml").write_text(station + sources + extra, "utf-8")

    def write(self, texts: Iterable[str], name: str = "night.log", end: str = "\n") -> Path:
        log = self.folder / name
        log.write_bytes("".join(text + end for text in texts).encode("utf-8", "surrogateescape"))
        return log

    def text(self, *arguments: str | Path) -> str:
        """What the command prints."""
        out = io.StringIO()
        with contextlib.redirect_stdout(out), fuse():
            config = str(self.folder / "sentinel.toml")
            assert cli.main(["replay", *map(str, arguments), "--config", config]) == 0
        return out.getvalue()

    def records(self, *logs: Path, until_s: float | None = None) -> list[Record]:
        until = [] if until_s is None else ["--until", clock(until_s)]
        return [json.loads(line) for line in self.text(*logs, "--json", *until).splitlines()]

    def of(self, heard: Iterable[Heard], until_s: float | None = None) -> list[Record]:
        """The records of one log of these decodes."""
        return self.records(self.write(lines(heard)), until_s=until_s)


@pytest.fixture
def replay(tmp_path: Path) -> Replay:
    return Replay(tmp_path)


def states(records: Iterable[Record]) -> list[tuple[str, str]]:
    return [(record["at"], record["state"]) for record in records if record["kind"] == "state"]


def changes(records: Iterable[Record]) -> list[Record]:
    return [record for record in records if record["kind"] != "summary"]


def state_at(records: Iterable[Record], at_s: float) -> str:
    """The state that held at a time, that of the time itself included."""
    return [state for begun_at, state in states(records) if begun_at <= clock(at_s)][-1]


# --- the records ------------------------------------------------------------------------------------


def test_every_record_has_the_fields_of_the_contract_in_their_order(replay: Replay) -> None:
    records = replay.of(evening(START_S))
    by_kind = {kind: [r for r in records if r["kind"] == kind] for kind in ("state", "opening", "summary")}
    assert all(by_kind.values())
    assert [list(record) for record in by_kind["state"]] == [STATE_KEYS] * len(by_kind["state"])
    assert [list(record) for record in by_kind["opening"]] == [OPENING_KEYS] * len(by_kind["opening"])
    assert [list(record) for record in by_kind["summary"]] == [SUMMARY_KEYS]
    headings = [heading for record in by_kind["state"] for heading in record["headings"]]
    assert headings
    assert all(list(heading) == HEADING_KEYS and heading["mode"] in MODES for heading in headings)
    assert {record["mode"] for record in by_kind["opening"]} <= MODES
    assert {record["phase"] for record in by_kind["opening"]} == {"began", "ended"}


def test_a_notable_has_the_fields_of_the_contract_in_their_order(replay: Replay) -> None:
    strong = [Heard(one.at_s, one.message, 15) for one in evening(START_S)]
    notables = [record for record in replay.of(strong) if record["kind"] == "notable"]
    assert notables
    assert [list(record) for record in notables] == [NOTABLE_KEYS] * len(notables)
    calls = {call for call, _ in SOUTH_WEST}
    assert {record["station"] for record in notables} <= {*calls, None}


def test_every_record_fits_the_schema_that_the_command_prints(replay: Replay) -> None:
    strong = [Heard(one.at_s, one.message, 15) for one in evening(START_S)]
    log = replay.write([*lines(strong), "garbage"])
    done = sentinel("replay", log, "--config", replay.folder / "sentinel.toml", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    records = [json.loads(line) for line in done.stdout.splitlines()]
    schemas = json.loads(sentinel("schema").stdout)
    for record in records:
        schema = schemas[f"replay-{record['kind']}"]
        checker = jsonschema.Draft202012Validator(
            schema, format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
        )
        checker.validate(record)
        for key in record:
            assert not checker.is_valid({k: v for k, v in record.items() if k != key}), (
                f"{key} may be missing"
            )
    assert {record["kind"] for record in records} == {"state", "opening", "notable", "summary"}


def test_the_first_state_is_at_the_first_lines_time(replay: Replay) -> None:
    first = replay.of([Heard(START_S + 7, "CQ VE1QBC FN84"), *calling(LOCAL, at(1), at(5))])[0]
    assert (first["kind"], first["at"], first["previous"]) == ("state", clock(START_S + 7), None)


def test_a_first_line_that_names_nobody_starts_the_watch_too(replay: Replay) -> None:
    records = replay.of([Heard(START_S, "TNX BOB 73 GL"), *calling(LOCAL, at(1), at(5))])
    assert states(records)[0] == (clock(START_S), "quiet")


def test_there_is_one_record_for_each_change_and_the_states_link(replay: Replay) -> None:
    records = [record for record in replay.of(evening(START_S)) if record["kind"] == "state"]
    assert [record["previous"] for record in records] == [None, *[record["state"] for record in records[:-1]]]
    assert all(record["previous"] != record["state"] for record in records)


def test_the_records_stand_in_the_order_of_event_time_and_the_summary_is_last(replay: Replay) -> None:
    records = replay.of(evening(START_S))
    times = [record["at"] for record in records[:-1]]
    assert times == sorted(times)
    for time in times:
        datetime.strptime(time, "%Y-%m-%dT%H:%M:%SZ")
    assert [record["kind"] for record in records].index("summary") == len(records) - 1


def test_the_summary_counts_lines_decodes_rejections_and_far_stations(replay: Replay) -> None:
    texts = lines(evening(START_S))
    texts[5:5] = ["", "   ", "garbage", "\x00\x01", "2026-06-14T20:00:00Z but no number", "x" * 10_000]
    summary = replay.records(replay.write(texts))[-1]
    assert summary == {
        "kind": "summary",
        "lines": len(texts) - 2,
        "decodes": len(texts) - 6,
        "rejected": 4,
        "far_stations": len(SOUTH_WEST),
    }


def test_an_empty_log_has_only_a_summary(replay: Replay) -> None:
    assert replay.records(replay.write([])) == [
        {"kind": "summary", "lines": 0, "decodes": 0, "rejected": 0, "far_stations": 0}
    ]


def test_the_id_of_an_opening_is_the_same_at_its_beginning_and_end(replay: Replay) -> None:
    began, ended = [record for record in replay.of(evening(START_S)) if record["kind"] == "opening"]
    assert (began["phase"], ended["phase"]) == ("began", "ended")
    assert began["id"] == ended["id"]
    assert began["began_at"] == ended["began_at"] <= began["at"] < ended["at"]


# --- until ------------------------------------------------------------------------------------------


def test_without_until_nothing_happens_after_the_last_line(replay: Replay) -> None:
    heard = [*locals_until(1), *calling(SOUTH_WEST[0], START_S, at(1))]
    assert states(replay.of(heard)) == [(clock(START_S), "quiet"), (clock(START_S + 30), "stirring")]


def test_until_lets_silence_pass(replay: Replay) -> None:
    heard = [*locals_until(1), *calling(SOUTH_WEST[0], START_S, at(1))]
    records = replay.of(heard, until_s=at(60))
    assert [state for _, state in states(records)] == ["quiet", "stirring", "quiet"]
    assert records[-1]["decodes"] == 4


def test_a_change_at_the_very_moment_of_until_is_told(replay: Replay) -> None:
    replay.configure("[receiver]\nline_silence_min = 10\n")
    last_s = START_S + 30
    before = replay.of(locals_until(1), until_s=last_s + 599)
    there = replay.of(locals_until(1), until_s=last_s + 600)
    assert states(there) == [*states(before), (clock(last_s + 600), "blind")]


def test_until_leaves_out_later_lines(replay: Replay) -> None:
    summary = replay.of(locals_until(10), until_s=at(2))[-1]
    assert summary["decodes"] == 5


def test_a_replay_until_a_time_says_what_the_whole_replay_says_up_to_then(replay: Replay) -> None:
    log = replay.write(lines(evening(START_S)))
    whole = changes(replay.records(log))
    for minutes in range(1, 45):
        until_s = at(minutes) + minutes % 7
        part = changes(replay.records(log, until_s=until_s))
        assert part == [record for record in whole if record["at"] <= clock(until_s)]


# --- what stands in logs ----------------------------------------------------------------------------


def test_several_logs_say_what_one_says(replay: Replay) -> None:
    texts = lines(evening(START_S))
    whole = replay.records(replay.write(texts))
    by_turns = [replay.write(texts[number::2], f"turn-{number}.log") for number in range(2)]
    halves = [replay.write(texts[150:], "late.log"), replay.write(texts[:150], "early.log")]
    assert replay.records(*by_turns) == whole
    assert replay.records(*reversed(by_turns)) == whole
    assert replay.records(*halves) == whole


def test_logs_of_two_layouts_are_each_read_by_their_own(replay: Replay) -> None:
    other = "{utc:epoch};{snr_db};{message}"
    replay.configure(layouts=[LAYOUT, other])
    heard = sorted(evening(START_S))
    first = replay.write(lines(heard[::2]), "a.log")
    second = replay.write([f"{one.at_s:.0f};{one.snr_db};{one.message}" for one in heard[1::2]], "b.log")
    records = replay.records(second, first)
    assert records[-1]["decodes"] == len(heard)
    assert states(records) == states(replay.of(heard))


@pytest.mark.parametrize("end", ["\r\n", "  \n", "\n\n", "\t\r\n"])
def test_line_ends_and_blanks_change_nothing(end: str, replay: Replay) -> None:
    texts = lines(evening(START_S))
    assert replay.records(replay.write(texts, end=end)) == replay.records(replay.write(texts))


def test_a_last_line_without_its_end_is_read(replay: Replay) -> None:
    log = replay.write(lines(locals_until(5)))
    log.write_bytes(log.read_bytes().rstrip(b"\n"))
    assert replay.records(log)[-1]["decodes"] == 10


def test_lines_out_of_order_change_nothing(replay: Replay) -> None:
    heard = sorted(evening(START_S))
    rng = random.Random(6)
    shuffled = sorted(heard, key=lambda one: one.at_s + rng.uniform(0.0, 45.0))  # three slots
    assert shuffled != heard
    log = replay.write([one.line() for one in shuffled])
    assert replay.records(log) == replay.of(heard)


def test_lines_printed_twice_change_no_state(replay: Replay) -> None:
    texts = lines(evening(START_S))
    once = replay.records(replay.write(texts))
    at_once = replay.records(replay.write(text for text in texts for _ in range(2)))
    assert changes(at_once) == changes(once)
    assert at_once[-1]["lines"] == 2 * len(texts)
    again = replay.records(replay.write([*texts[:100], *texts]))  # a decoder that begins its file anew
    assert changes(again) == changes(once)


@pytest.mark.parametrize(
    ("stray", "place"),
    [
        ("2099-01-01T00:00:00", 0),
        ("2099-01-01T00:00:00", 1),
        ("2099-01-01T00:00:00", 100),
        ("2026-06-15T09:00:00", 100),
        ("1999-12-31T23:59:59", 1),  # not 0: the first line may well be much older than the second
        ("1999-12-31T23:59:59", 100),
    ],
)
def test_one_line_from_another_time_changes_no_state(stray: str, place: int, replay: Replay) -> None:
    texts = lines(evening(START_S))
    expected = changes(replay.records(replay.write(texts)))
    texts.insert(place, Heard(seconds(stray), "CQ W4QAL EM83").line())
    assert changes(replay.records(replay.write(texts))) == expected


@pytest.mark.parametrize("name", ["night-2026-06-14.log", "20260614.txt", "rx_260614.log"])
def test_a_bare_time_of_day_takes_its_date_from_the_files_name(name: str, replay: Replay) -> None:
    replay.configure(layouts=["{utc:%H%M%S} {snr_db} {message}"])
    start_s = seconds("2026-06-14T23:30:00")
    heard = sorted(evening(start_s))
    texts = [f"{datetime.fromtimestamp(one.at_s, UTC):%H%M%S} {one.snr_db} {one.message}" for one in heard]
    records = replay.records(replay.write(texts, name))
    assert records[0]["at"] == "2026-06-14T23:30:00Z"
    assert states(records)[-1][0].startswith("2026-06-15T00:")
    replay.configure()
    assert states(records) == states(replay.of(heard))


def test_a_header_line_dates_the_lines_below(replay: Replay) -> None:
    layouts = '["{utc:%H%M%S} {snr_db} {message}", "--- {date:%d %b %Y} ---"]'
    replay.configure(layouts=["x"])
    file = replay.folder / "sentinel.toml"
    file.write_text(file.read_text("utf-8").replace('"x"', layouts), "utf-8")
    records = replay.records(
        replay.write(["--- 14 Jun 2026 ---", "235930 -5 CQ VE1QBC FN84", "000000 -5 CQ VE1QBC FN84"])
    )
    assert records[0]["at"] == "2026-06-14T23:59:30Z"
    assert records[-1] == {"kind": "summary", "lines": 3, "decodes": 2, "rejected": 0, "far_stations": 0}


# --- who was heard ----------------------------------------------------------------------------------


def test_rr73_is_the_acknowledgement_and_no_square_in_the_arctic(replay: Replay) -> None:
    exchange = [Heard(at(1) + 30 * n, "VE1QAB VE1QBC RR73") for n in range(20)]
    records = replay.of([*locals_until(30), *exchange])
    assert states(records) == [(clock(START_S), "quiet")]
    assert records[-1]["far_stations"] == 0


@pytest.mark.parametrize("sent", [f"CQ {OWN_CALL} JN58", f"DL5QAB {OWN_CALL} JN58", f"CQ {OWN_CALL}/P JN58"])
def test_our_own_transmissions_are_never_heard(sent: str, replay: Replay) -> None:
    records = replay.of([*locals_until(30), *(Heard(at(1) + 30 * n, sent) for n in range(20))])
    assert states(records) == [(clock(START_S), "quiet")]
    assert records[-1]["far_stations"] == 0


@pytest.mark.parametrize(
    "text", ["DL5QAB VE1QBC FN84", "DL5QAB VE1QBC -12", "<DL5QAB> VE1QBC R-07", "DL5QAB VE1QBC 73"]
)
def test_the_station_that_is_called_is_never_heard(text: str, replay: Replay) -> None:
    records = replay.of([*locals_until(30), *(Heard(at(1) + 30 * n, text) for n in range(20))])
    assert states(records) == [(clock(START_S), "quiet")]
    assert records[-1]["far_stations"] == 0


# --- the meaning of the states ----------------------------------------------------------------------


def test_an_evening_goes_through_quiet_stirring_open_and_back(replay: Replay) -> None:
    records = replay.of(evening(START_S))
    assert state_at(records, at(4)) == "quiet"
    assert state_at(records, at(5.5)) == "stirring"  # a ping heard twice
    assert state_at(records, at(14)) == "quiet"
    assert state_at(records, at(17)) == "open"  # six stations for two minutes
    assert state_at(records, at(25)) == "open"
    assert state_at(records, at(45)) == "quiet"
    assert [state for _, state in states(records)].count("open") == 1


def test_two_far_stations_are_stirring_however_long(replay: Replay) -> None:
    heard = [*locals_until(60), *(one for s in SOUTH_WEST[:2] for one in calling(s, at(10), at(40)))]
    records = replay.of(heard)
    assert {state for _, state in states(records)} == {"quiet", "stirring"}
    assert state_at(records, at(30)) == "stirring"


def test_three_far_stations_for_minutes_are_open(replay: Replay) -> None:
    heard = [*locals_until(60), *(one for s in SOUTH_WEST[:3] for one in calling(s, at(10), at(20)))]
    records = replay.of(heard)
    assert state_at(records, at(12)) == "open"
    (opened,) = [record for record in records if record.get("state") == "open"]
    assert opened["far_stations"] == 3
    assert opened["headings"][0]["stations"] == 3


def test_three_far_stations_in_one_slot_are_not_open(replay: Replay) -> None:
    heard = [*locals_until(60), *(Heard(at(10), f"CQ {call} {square}") for call, square in SOUTH_WEST[:3])]
    assert "open" not in {state for _, state in states(replay.of(heard))}


def test_one_station_beyond_4000_km_in_three_slots_is_open_and_in_two_it_is_not(replay: Replay) -> None:
    twice = replay.of([*locals_until(60), *calling(BEYOND_4000_KM, at(10), at(11))])
    thrice = replay.of([*locals_until(60), *calling(BEYOND_4000_KM, at(10), at(11.5))])
    assert "open" not in {state for _, state in states(twice)}
    assert (clock(at(11)), "open") in states(thrice)


def test_three_lines_of_one_slot_are_one_slot(replay: Replay) -> None:
    call, square = BEYOND_4000_KM
    slot = [Heard(at(10), f"CQ {call} {square}", audio_hz=hz) for hz in (500, 900, 1400)]
    assert "open" not in {state for _, state in states(replay.of([*locals_until(60), *slot]))}


@pytest.mark.parametrize("seed", range(3))
def test_a_night_of_scattered_pings_is_never_open(seed: int, replay: Replay) -> None:
    """Ten an hour, five times what is usual (common practice), each one or two transmissions long."""
    rng = random.Random(seed)
    heard = list(calling(LOCAL, START_S, START_S + 8 * 3600.0, 60.0))
    for _ in range(80):
        call, square = rng.choice(SCATTERED)
        call = call[:-2] + rng.choice("ABCDEFG") + rng.choice("ABCDEFG")
        begins_s = START_S + SLOT_S * rng.randrange(8 * 240)
        heard += [
            Heard(begins_s + 30 * n, f"CQ {call} {square}", -9) for n in range(rng.choice((1, 1, 1, 2)))
        ]
    seen = {state for _, state in states(replay.of(heard, until_s=START_S + 9 * 3600.0))}
    assert seen == {"quiet", "stirring"}


def test_lone_stations_all_around_come_to_an_end(replay: Replay) -> None:
    heard = [*locals_until(60)]
    for number, station in enumerate(SCATTERED):
        heard += calling(station, at(10 + number), at(10 + number) + 150)
    records = replay.of(heard, until_s=at(120))
    assert state_at(records, at(120)) == "quiet"
    ended = [record["at"] for record in records if record.get("phase") == "ended"]
    assert len(ended) == len(set(ended)) == len([r for r in records if r.get("phase") == "began"])


# --- blind ------------------------------------------------------------------------------------------

CANARY = f'[receiver]\ncanaries = ["{LOCAL[0]}"]\ncanary_silence_min = 20\n'
OTHER_LOCAL = ("VE1QAB", "FN74")


def test_a_silent_canary_makes_the_watch_blind_to_the_second_and_its_voice_ends_that(replay: Replay) -> None:
    replay.configure(CANARY)
    heard = [
        *calling(LOCAL, START_S, at(30)),
        *calling(OTHER_LOCAL, START_S, at(70)),
        *calling(LOCAL, at(55), at(70)),
    ]
    records = replay.of(heard)
    last_s = at(30) - 30
    assert states(records) == [
        (clock(START_S), "quiet"),
        (clock(last_s + 20 * MINUTE), "blind"),
        (clock(at(55)), "quiet"),
    ]
    blind = records[1]
    assert blind["far_stations"] is None
    assert blind["headings"] == []
    assert LOCAL[0] in blind["because"]
    assert records[2]["previous"] == "blind"


def test_a_canary_that_was_never_heard_counts_from_the_first_line(replay: Replay) -> None:
    replay.configure(CANARY)
    records = replay.of(calling(OTHER_LOCAL, START_S, at(40)))
    assert states(records) == [(clock(START_S), "quiet"), (clock(at(20)), "blind")]


def test_no_silent_canary_gainsays_far_stations(replay: Replay) -> None:
    replay.configure(CANARY)
    far = [one for station in SOUTH_WEST[:4] for one in calling(station, at(5), at(50))]
    records = replay.of([*calling(OTHER_LOCAL, START_S, at(50)), *far])
    assert "blind" not in {state for _, state in states(records)}


def test_lines_that_stay_away_make_the_watch_blind_to_the_second_and_their_return_ends_that(
    replay: Replay,
) -> None:
    replay.configure("[receiver]\nline_silence_min = 10\n")
    records = replay.of([*calling(LOCAL, START_S, at(30)), *calling(LOCAL, at(50), at(55))], until_s=at(70))
    assert states(records) == [
        (clock(START_S), "quiet"),
        (clock(at(30) - 30 + 600), "blind"),
        (clock(at(50)), "quiet"),
        (clock(at(55) - 30 + 600), "blind"),
    ]


def test_without_a_way_to_tell_silence_is_not_blind(replay: Replay) -> None:
    records = replay.of(calling(LOCAL, START_S, at(5)), until_s=at(24 * 60))
    assert states(records) == [(clock(START_S), "quiet")]


# --- bearings and distances -------------------------------------------------------------------------


def seen_from_home(square: str) -> tuple[float, float]:
    """Azimuth in [0, 360) and distance in km from the centre of home to that of ``square``, by pyproj."""
    (lat, lon), (far_lat, far_lon) = (maidenhead.to_location(text, center=True) for text in (HOME, square))
    azimuth, _, metres = Geod(ellps="WGS84").inv(lon, lat, far_lon, far_lat)
    return azimuth % 360.0, metres / 1000.0


@pytest.mark.parametrize("station", [BEYOND_4000_KM, *SOUTH_WEST[:2], *SCATTERED])
def test_a_heading_points_where_pyproj_does(station: tuple[str, str], replay: Replay) -> None:
    records = replay.of([*locals_until(30), *calling(station, at(10), at(12))])
    heading = next(record["headings"][0] for record in records if record.get("headings"))
    bearing_deg, distance_km = seen_from_home(station[1])
    assert heading["bearing_deg"] == pytest.approx(bearing_deg, abs=0.051)
    assert heading["nearest_km"] == heading["farthest_km"] == round(distance_km)
    assert heading["spread_deg"] == 0.0


def test_a_heading_of_many_spans_their_distances_and_lies_among_their_bearings(replay: Replay) -> None:
    records = replay.of(evening(START_S))
    ended = next(record for record in records if record.get("phase") == "ended")
    places = [seen_from_home(square) for _, square in SOUTH_WEST]
    assert ended["nearest_km"] == round(min(km for _, km in places))
    assert ended["farthest_km"] == round(max(km for _, km in places))
    assert min(deg for deg, _ in places) < ended["bearing_deg"] < max(deg for deg, _ in places)
    assert ended["stations"] == len(SOUTH_WEST)


def test_a_heading_across_north_is_no_mean_of_numbers(replay: Replay) -> None:
    north = (("VE2QAM", "FO70"), ("VE2QAN", "FO60"), ("VE2QAO", "FO80"), ("VE2QAP", "FO91"))
    bearings = [seen_from_home(square)[0] for _, square in north]
    assert min(bearings) < 20
    assert max(bearings) > 340
    heard = [one for station in north for one in calling(station, at(10), at(40))]
    records = replay.of([*locals_until(60), *heard])
    headings = [h for record in records if record["kind"] == "state" for h in record["headings"]]
    assert headings
    assert all(h["bearing_deg"] < 25 or h["bearing_deg"] > 335 for h in headings)


# --- the timeline -----------------------------------------------------------------------------------


def test_the_timeline_for_people_has_a_line_for_each_record(replay: Replay) -> None:
    start_s = seconds("2026-06-14T23:45:00")
    log = replay.write(lines(evening(start_s)))
    records = replay.records(log)
    shown = replay.text(log).splitlines()
    headings = [line for line in shown if line.endswith(", UTC")]
    assert headings == ["Sunday 14 June 2026, UTC", "Monday 15 June 2026, UTC"]
    rows = [line for line in shown if line not in headings]
    assert [row[:8] for row in rows[:-1]] == [record["at"][11:19] for record in records[:-1]]
    for row, record in zip(rows, records[:-1], strict=False):
        if record["kind"] == "state":
            assert row.split()[1] == record["state"].upper()
            assert row.endswith(record["because"])
        else:
            assert record.get("phase", record["kind"]) in row
    assert rows[-1] == f"{len(lines(evening(start_s)))} lines, 256 decodes, 0 rejected, 6 far stations in all"


# --- hostile logs -----------------------------------------------------------------------------------

STAMPS = st.sampled_from(
    ["2026-06-14T20:00:00Z", "2026-06-14T20:00:15Z", "9999-12-31T23:59:59Z", "0001-01-01T00:00:00Z"]
)
TAILS = st.text(st.characters(codec="utf-8", exclude_characters="\n"), max_size=40)
HOSTILE = st.lists(
    st.binary(max_size=60)
    | st.tuples(STAMPS, TAILS).map(lambda row: f"{row[0]} -5 0.1 1200 {row[1]}".encode())
    | st.tuples(STAMPS, TAILS).map(lambda row: f"{row[0]} {row[1]} 0.1 1200 CQ W4QAA EM83".encode()),
    max_size=20,
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=HOSTILE)
def test_whatever_stands_in_a_log_the_records_are_clean_and_every_line_is_counted(
    rows: list[bytes], replay: Replay
) -> None:
    log = replay.folder / "hostile.log"
    log.write_bytes(b"\n".join(rows))
    for line in replay.text(log, "--json").splitlines():
        assert line.isascii()
        assert line.isprintable()
        last = json.loads(line)
    assert last["kind"] == "summary"
    assert last["decodes"] + last["rejected"] == last["lines"]
    shown = replay.text(log)
    assert all(line.isprintable() for line in shown.splitlines())


# --- the laws of the core ---------------------------------------------------------------------------

STATIONS = (LOCAL, *SOUTH_WEST, BEYOND_4000_KM, *SCATTERED)


def decode(one: Heard) -> Decode:
    return Decode(one.at_s, one.message, one.snr_db, one.dt_s, one.audio_hz)


def told(heard: Iterable[Heard], ticks: random.Random | None = None) -> str:
    """The records of a watch fed in this order; with ``ticks``, time also passes in between, now and then."""
    out = io.StringIO()
    view = JsonView(out)
    watch = Watch(WatchSettings(HOME, own_call=OWN_CALL))
    now_s = START_S
    with fuse():
        for one in heard:
            while ticks is not None and now_s < one.at_s:
                now_s = min(one.at_s, now_s + ticks.uniform(0.5, SLOT_S))
                if watch.has_verdict or now_s == one.at_s:
                    view.show(watch.tick(now_s))
            view.show(watch.feed(decode(one)))
            now_s = one.at_s
        view.show(watch.tick(at(120)))
    return out.getvalue()


@st.composite
def hours(draw: st.DrawFn) -> list[Heard]:
    """Up to fifty minutes: runs of transmissions by stations near and far, some with gaps."""
    heard = [Heard(START_S, f"CQ {LOCAL[0]} {LOCAL[1][:4]}")]
    for _ in range(draw(st.integers(0, 12))):
        call, square = draw(st.sampled_from(STATIONS))
        first, count, step = draw(
            st.tuples(st.integers(0, 160), st.integers(1, 12), st.sampled_from((1, 2, 4)))
        )
        snr = draw(st.integers(-22, 5))
        slots = range(first, min(first + count * step, 200), step)
        heard += [Heard(START_S + SLOT_S * slot, f"CQ {call} {square[:4]}", snr) for slot in slots]
    return sorted(heard)


# Not shrunk: a core that hangs would hang at every step of it.
LAWFUL = settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)


@LAWFUL
@given(heard=hours(), rng=st.randoms(use_true_random=False))
def test_neither_the_order_within_a_slot_nor_ticks_change_a_byte(
    heard: list[Heard], rng: random.Random
) -> None:
    shuffled = sorted(heard, key=lambda one: (one.at_s, rng.random()))
    assert told(shuffled, ticks=rng) == told(heard)


@LAWFUL
@given(heard=hours(), rng=st.randoms(use_true_random=False))
def test_lines_told_twice_in_their_slot_change_no_byte(heard: list[Heard], rng: random.Random) -> None:
    doubled = [one for one in heard for _ in range(rng.choice((1, 2, 3)))]
    assert told(doubled) == told(heard)


@LAWFUL
@given(heard=hours())
def test_whatever_is_heard_every_opening_ends_and_the_watch_comes_back_to_quiet(heard: list[Heard]) -> None:
    records = [json.loads(line) for line in told(heard).splitlines()]
    assert states(records)[-1][1] == "quiet"
    phases = [(record["id"], record["phase"]) for record in records if record["kind"] == "opening"]
    began = {opening for opening, phase in phases if phase == "began"}
    ended = {opening for opening, phase in phases if phase == "ended"}
    assert began == ended
    assert len(phases) == 2 * len(began)
