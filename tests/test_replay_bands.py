"""``sentinel replay`` of several bands: from logs and a configuration to records that tell their band."""

import json
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from command_line import sentinel
from nights import HOME, LAYOUT, LOCAL, Heard, calling, clock, seconds

Record = dict[str, Any]
OnBand = tuple[float, Heard]

START_S = seconds("2026-06-14T18:00:00")
MINUTE = 60.0
TEN_MHZ, SIX_MHZ = 28.074, 50.313
# 570, 597, 730, 792, 946 and 1,195 km to the west of home, by pyproj.
WEST = (
    ("K1QAB", "FN43"), ("W1QAA", "FN42"), ("N1QAC", "FN33"),
    ("W1QAD", "FN31"), ("K2QAE", "FN21"), ("N3QAF", "FM19"),
)  # fmt: skip
WITH_FREQUENCY = LAYOUT.replace("{snr_db}", "{freq_mhz} {snr_db}")
BANDS = f'[station]\nlocator = "{HOME}"\n[band]\nalso = ["10m"]\n'


def source(layout: str, more: str) -> str:
    return f'[[source]]\nlayout = "{layout}"\n{more}\n'


def evening() -> list[OnBand]:
    """A local station on 6 m for an hour; ten metres open with short skip from the 5th to the 20th minute."""
    heard = [(SIX_MHZ, one) for one in calling(LOCAL, START_S, START_S + 60 * MINUTE)]
    for number, station in enumerate(WEST):
        since_s = START_S + 5 * MINUTE + 15.0 * number
        heard += [(TEN_MHZ, one) for one in calling(station, since_s, START_S + 20 * MINUTE)]
    return sorted(heard, key=lambda each: each[1].at_s)


def write(log: Path, heard: Iterable[OnBand], has_frequency: bool) -> Path:
    log.parent.mkdir(exist_ok=True)
    said = [(one.line().split(" ", 1), mhz) for mhz, one in heard]
    text = [f"{time} {f'{mhz} ' if has_frequency else ''}{rest}\n" for (time, rest), mhz in said]
    log.write_text("".join(text), "ascii")
    return log


def records(folder: Path, config: str, *logs: Path) -> list[Record]:
    (folder / "sentinel.toml").write_text(config, "utf-8")
    done = sentinel("replay", *logs, "--config", folder / "sentinel.toml", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    return [json.loads(line) for line in done.stdout.splitlines()]


def states(of: Iterable[Record], band: str) -> list[str]:
    return [each["state"] for each in of if each["kind"] == "state" and each["band"] == band]


@pytest.fixture
def by_frequency(tmp_path: Path) -> list[Record]:
    """One log in which the lines say their frequency."""
    log = write(tmp_path / "night.log", evening(), has_frequency=True)
    return records(tmp_path, BANDS + source(WITH_FREQUENCY, 'path = "night.log"'), log)


def test_short_skip_on_ten_metres_makes_six_metres_stir_with_the_implied_muf(
    by_frequency: list[Record],
) -> None:
    assert states(by_frequency, "10m") == ["quiet", "stirring", "open", "stirring", "quiet"]
    assert states(by_frequency, "6m") == ["quiet", "stirring", "quiet"]
    raised = next(each for each in by_frequency if each.get("band") == "6m" and each["state"] == "stirring")
    assert raised["because"].startswith("28 MHz skip of 570 km: MUF about 58 MHz ")
    assert (raised["far_stations"], raised["headings"]) == (0, [])
    began = next(each for each in by_frequency if each["kind"] == "opening")
    assert raised["at"] == began["at"]


def test_all_records_but_the_summary_tell_their_band_in_the_order_of_time(by_frequency: list[Record]) -> None:
    *told, summary = by_frequency
    assert {each["kind"] for each in told} == {"state", "opening", "notable"}
    assert {each["band"] for each in told} == {"6m", "10m"}
    assert all(list(each)[:2] == ["kind", "band"] for each in told)
    assert [each["at"] for each in told] == sorted(each["at"] for each in told)
    assert [each["at"] for each in told[:2]] == [clock(START_S)] * 2
    lines = len(evening())
    assert summary == {
        "kind": "summary", "lines": lines, "decodes": lines, "rejected": 0, "far_stations": len(WEST),
    }  # fmt: skip


def test_the_records_fit_the_published_schemas(by_frequency: list[Record]) -> None:
    schemas = json.loads(sentinel("schema").stdout)
    for each in by_frequency:
        jsonschema.validate(each, schemas[f"replay-{each['kind']}"])


def test_logs_of_two_receivers_are_told_apart_by_their_source(
    by_frequency: list[Record], tmp_path: Path
) -> None:
    heard = evening()
    logs = [
        write(
            tmp_path / band / "decodes.log", [each for each in heard if each[0] == mhz], has_frequency=False
        )
        for band, mhz in (("6m", SIX_MHZ), ("10m", TEN_MHZ))
    ]
    sources = "".join(
        source(LAYOUT, f'path = "{band}/decodes.log"\nband = "{band}"') for band in ("6m", "10m")
    )
    assert records(tmp_path, BANDS + sources, *logs) == by_frequency
    assert records(tmp_path, BANDS + sources, *reversed(logs)) == by_frequency


def test_lines_without_a_frequency_belong_to_the_main_band(tmp_path: Path) -> None:
    log = write(tmp_path / "night.log", evening(), has_frequency=False)
    told = records(tmp_path, BANDS + source(LAYOUT, 'path = "other.log"'), log)
    assert states(told, "10m") == ["quiet"]
    assert "open" in states(told, "6m")


def test_one_band_uses_none_of_the_lines_of_another_and_tells_no_band(tmp_path: Path) -> None:
    log = write(tmp_path / "night.log", evening(), has_frequency=True)
    alone = BANDS.replace('also = ["10m"]', "") + source(WITH_FREQUENCY, 'path = "night.log"')
    told = records(tmp_path, alone, log)
    assert [each.get("state") for each in told] == ["quiet", None]
    assert not any("band" in each for each in told)


def test_people_read_the_band_beside_the_time(tmp_path: Path) -> None:
    log = write(tmp_path / "night.log", evening(), has_frequency=True)
    (tmp_path / "sentinel.toml").write_text(BANDS + source(WITH_FREQUENCY, 'path = "night.log"'), "utf-8")
    said = sentinel("replay", log, "--config", tmp_path / "sentinel.toml").stdout
    opens = re.search(r"^(18:0[56]:\d\d)  10m  OPEN", said, re.M)
    assert opens is not None
    assert f"{opens[1]}  6m   STIRRING  28 MHz skip of 570 km: MUF about 58 MHz" in said
