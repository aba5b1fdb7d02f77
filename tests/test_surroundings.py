"""The clock, the decoder's process and the operator's log: what files say of them, and what they do not."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sentinel.errors import RunError
from sentinel.intake.adif_log import LARGEST_RECORD, WorkedLogFile, read_worked_log
from sentinel.surroundings import ProcessLook, clock_part, is_clock_synchronised

# chronyc(1), -c: values separated by commas, the leap status last; the numbers are invented
CHRONY_SET = (
    "C0000201,192.0.2.1,3,1795600000.1,0.000012,0.00001,0.00002,-12.3,0.001,0.05,0.01,0.002,64.2,Normal\n"
)
CHRONY_NOT_SET = "7F7F0101,,0,0.0,0.0,0.0,0.0,0.0,0.0,0.0,1.0,1.0,0.0,Not synchronised\n"


# --- the clock ---------------------------------------------------------------------------------------


def test_timesyncd_says_when_it_has_set_the_clock(tmp_path: Path) -> None:
    assert is_clock_synchronised(tmp_path) is None
    (tmp_path / "systemd/timesync").mkdir(parents=True)
    assert is_clock_synchronised(tmp_path) is False
    (tmp_path / "systemd/timesync/synchronized").touch()
    assert is_clock_synchronised(tmp_path) is True


@pytest.mark.parametrize(
    ("report", "expected"), [(CHRONY_SET, True), (CHRONY_NOT_SET, False), (None, None), ("", None)]
)
def test_chrony_is_asked_where_it_runs(report: str | None, expected: bool | None, tmp_path: Path) -> None:
    (tmp_path / "chrony").mkdir()
    assert is_clock_synchronised(tmp_path, lambda: report) is expected


def test_what_stations_tell_outranks_what_files_tell() -> None:
    assert clock_part(False, None, 0.7).is_well is False
    assert clock_part(False, 0.2, 0.7).is_well is True
    assert clock_part(True, 1.2, 0.7).is_well is False
    assert "+1.2 s" in clock_part(True, 1.2, 0.7).note
    assert clock_part(None, None, 0.7).is_well is None
    assert clock_part(True, None, 0.7).is_well is True


# --- the decoder's process ------------------------------------------------------------------------------


def a_process(proc: Path, number: int, comm: str, *words: str) -> None:
    (proc / str(number)).mkdir(parents=True)
    (proc / str(number) / "comm").write_text(f"{comm[:15]}\n", "utf-8")
    (proc / str(number) / "cmdline").write_bytes(b"".join(f"{word}\0".encode() for word in words))


@pytest.mark.parametrize(
    "words",
    [
        ("decode-it",),
        ("/opt/radio/decode-it", "-v"),
        ("/usr/bin/python3", "/home/pi/decode-it"),
    ],
)
def test_a_process_is_found_by_its_name_program_or_script(words: tuple[str, ...], tmp_path: Path) -> None:
    a_process(tmp_path, 1, "init", "/sbin/init")
    look = ProcessLook("decode-it", tmp_path)
    assert look.is_running() is False
    a_process(tmp_path, 4711, Path(words[0]).name, *words)
    assert look.is_running() is True
    (tmp_path / "4711/comm").write_text("another\n", "utf-8")
    (tmp_path / "4711/cmdline").write_bytes(b"another\0")
    assert look.is_running() is False


def test_a_name_that_only_begins_alike_is_another_process(tmp_path: Path) -> None:
    a_process(tmp_path, 1, "init", "/sbin/init")
    a_process(tmp_path, 2, "a-very-long-process-name", "/bin/a-very-long-process-name")
    assert ProcessLook("a-very-long-process", tmp_path).is_running() is False
    assert ProcessLook("a-very-long-process-name", tmp_path).is_running() is True


def test_where_processes_are_hidden_nothing_is_known(tmp_path: Path) -> None:
    a_process(tmp_path, 4712, "sentinel", "sentinel")
    assert ProcessLook("decode-it", tmp_path).is_running() is None


def test_a_real_process_is_found_and_missed(tmp_path: Path) -> None:
    name = f"decoder-{os.getpid()}.py"
    script = tmp_path / name
    script.write_text("print(flush=True); input()", "ascii")
    look = ProcessLook(name)
    assert look.is_running() is not True
    with subprocess.Popen(
        [sys.executable, str(script)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        process.stdout.readline()
        assert look.is_running() is True
        process.communicate(b"\n")
    assert look.is_running() is not True


# --- the operator's log ---------------------------------------------------------------------------------

# Fields as ADIF 3.1 writes them: <NAME:LENGTH>VALUE, a record ended by <EOR>, a header by <EOH>
HEADER = "A log, made by hand\n<ADIF_VER:5>3.1.4 <EOH>\n"


def fields(**values: str) -> str:
    return "".join(f"<{name}:{len(value)}>{value}" for name, value in values.items())


def record(**values: str) -> str:
    return fields(**values) + "<EOR>\n"


def written(folder: Path, *texts: str, encoding: str = "utf-8") -> Path:
    path = folder / "log.adi"
    path.write_text("".join(texts), encoding)
    return path


GREEK = {"CALL": "SV1QAB", "BAND": "6M", "GRIDSQUARE": "KM17tx"}


def test_countries_and_squares_are_those_of_the_band_and_places_those_of_any(tmp_path: Path) -> None:
    log = written(
        tmp_path,
        HEADER,
        record(**GREEK),
        record(CALL="dl5qab", BAND="6m", GRIDSQUARE="JN58", QSL_RCVD="Y"),
        record(CALL="EA8QYA", BAND="20m", GRIDSQUARE="IL18"),
        record(CALL="G4QXX/P", BAND="6m"),
    )
    worked = read_worked_log(log, "6m")
    assert worked.squares_worked == {"KM17", "JN58"}
    assert worked.squares_confirmed == {"JN58"}
    assert worked.countries_worked == {"GR", "DE", "GB-ENG"}
    assert worked.countries_confirmed == {"DE"}
    assert worked.locators == {"SV1QAB": "KM17tx", "DL5QAB": "JN58", "EA8QYA": "IL18"}
    assert (worked.contacts, worked.unread) == (4, 0)


def test_a_mark_inside_a_value_ends_nothing(tmp_path: Path) -> None:
    log = written(tmp_path, HEADER, record(NOTES="an <EOR> in a remark", **GREEK), record(CALL="DL5QAB"))
    assert read_worked_log(log, "6m").contacts == 2


def test_lengths_counted_in_bytes_cost_nobody_a_contact(tmp_path: Path) -> None:
    """ADIF counts characters; some programs count the bytes of UTF-8 and swallow what follows."""
    log = written(tmp_path, HEADER, "<CALL:6>DL5QAB<NAME:7>Müller<EOR>\n", record(**GREEK))
    worked = read_worked_log(log, "6m")
    assert (worked.contacts, worked.squares_worked) == (2, {"KM17"})


@pytest.mark.parametrize(
    "broken",
    [
        "<CALL:999999999>DL5QAB<EOR>\n",
        "<CALL:6>DL5QAB<CALL:6>DL5QAC<EOR>\n",
        "<CALL:x>DL5QAB<EOR>\n",
        "<CALL:6>NOCALL<EOR>\n",
        "<EOR><EOR>\n",
        "x" * (3 * LARGEST_RECORD) + "<EOR>\n",
        "\0\0\0<EOR>\n",
    ],
)
def test_a_broken_record_costs_at_most_itself_and_its_neighbour(broken: str, tmp_path: Path) -> None:
    log = written(tmp_path, HEADER, *(record(**GREEK) for _ in range(1_500)), broken, *2 * [record(**GREEK)])
    worked = read_worked_log(log, "6m")
    assert worked.contacts >= 1_500
    assert worked.unread >= 1 or "CALL:999" in broken


def test_what_is_no_log_is_one_sentence_that_says_what_to_do(tmp_path: Path) -> None:
    for text in ("", "just text\n" * 1000, "<html><body>no</body></html>"):
        with pytest.raises(RunError, match="ADIF"):
            read_worked_log(written(tmp_path, text), "6m")
    with pytest.raises(RunError, match="cannot be read"):
        read_worked_log(tmp_path / "nowhere.adi", "6m")
    with pytest.raises(RunError, match="cannot be read"):
        read_worked_log(tmp_path, "6m")


PIECES = ["<CALL:6>DL5QAB", "<CALL:6>", "<EOR>", "<EOH>", "<A:", "x", ">", "<B:3>", "<C:0>", "<D:2:S>"]


@given(st.one_of(st.text(), st.lists(st.sampled_from(PIECES)).map("".join)))
def test_any_text_is_a_log_or_a_sentence(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.adi"
        path.write_bytes(text.encode("utf-8", "replace"))
        try:
            read_worked_log(path, "6m")
        except RunError as error:
            assert "\n" not in str(error)


def test_a_log_is_read_again_when_it_has_changed_and_the_last_good_reading_stands(tmp_path: Path) -> None:
    path = written(tmp_path, HEADER, record(**GREEK))
    log = WorkedLogFile(path, "6m")
    assert log.part().is_well is None
    log.look()
    first = log.worked
    log.look()
    assert log.worked is first
    written(tmp_path, HEADER, record(**GREEK), record(CALL="DL5QAB", BAND="6m", GRIDSQUARE="JN58"))
    log.look()
    assert log.worked is not None
    assert log.worked.squares_worked == {"KM17", "JN58"}
    assert log.part().is_well is True
    written(tmp_path, "gone wrong")
    log.look()
    assert log.worked.squares_worked == {"KM17", "JN58"}
    assert log.part().is_well is False
    path.unlink()
    log.look()
    assert "cannot be read" in log.part().note
