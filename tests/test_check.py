"""``sentinel check``: what it proves, what it finds wrong, and what it says that it could not check."""

from collections.abc import Callable
from pathlib import Path

import pytest
from broker import Listener, RealBroker, free_port
from nights import CONFIG, HOME, LOCAL, OWN_CALL, SOUTH_WEST, Heard, calling, lines, seconds

from sentinel.cli import main

SHARED_ACL = Path(__file__).parents[1] / "config" / "mosquitto-shared.acl"
START_S = seconds("2026-06-14T20:00:00")

Check = Callable[..., list[tuple[str, str]]]


@pytest.fixture
def check(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Check:
    """Checks a configuration that ends with ``extra``; the findings as mark and text."""

    def run(extra: str = "", code: int = 0) -> list[tuple[str, str]]:
        file = tmp_path / "sentinel.toml"
        file.write_text(CONFIG + extra, "utf-8")
        assert main(["check", "--config", str(file)]) == code
        said = capsys.readouterr()
        assert said.err == ""
        rows = [line.strip().partition("  ") for line in said.out.splitlines()]
        return [(mark, text.strip()) for mark, _, text in rows]

    return run


def write(folder: Path, *texts: str) -> None:
    (folder / "decodes.log").write_text("".join(text + "\n" for text in texts), "utf-8")


def found(findings: list[tuple[str, str]], words: str) -> tuple[str, str]:
    """The one finding with these words."""
    (finding,) = [finding for finding in findings if words in finding[1]]
    return finding


def test_three_lines_are_shown_as_they_are_read(check: Check, tmp_path: Path) -> None:
    call, square = SOUTH_WEST[0]
    write(
        tmp_path,
        *lines(calling(LOCAL, START_S, START_S + 300)),
        Heard(START_S + 300, f"{OWN_CALL} {call} {square}", -7).line(),
        Heard(START_S + 315, f"{call} {OWN_CALL} FN84", 0).line(),
        Heard(START_S + 330, "TNX BOB 73 GL", -3).line(),
    )
    findings = check()
    shown = [text for _, text in findings if text.startswith(("line ", "reads "))]
    assert len(shown) == 6
    # 2020 km at 241 degrees: pyproj, between the centres of FN84ab and EM83 (see test_replay)
    assert shown == [
        f"line   2026-06-14T20:05:00Z -7 0.1 1200 {OWN_CALL} {call} {square}",
        f"reads  2026-06-14 20:05:00 UTC, heard {call} at -7 dB, 2020 km at 241°",
        f"line   2026-06-14T20:05:15Z 0 0.1 1200 {call} {OWN_CALL} FN84",
        "reads  2026-06-14 20:05:15 UTC, our own transmission",
        "line   2026-06-14T20:05:30Z -3 0.1 1200 TNX BOB 73 GL",
        shown[5],
    ]
    assert shown[5].startswith("reads  2026-06-14 20:05:30 UTC, nobody can be named: ")
    assert found(findings, "of the last")[1].endswith(
        "of the last 13 lines 13 are decodes, 0 headers, 0 rejected"
    )


def test_a_rejected_line_is_shown_with_its_reason_and_without_its_escapes(
    check: Check, tmp_path: Path
) -> None:
    write(tmp_path, *lines(calling(LOCAL, START_S, START_S + 60)), "\x1b[2J no such line \x07")
    findings = check()
    assert found(findings, "rejected:") == (
        "not checked",
        "rejected: ?[2J no such line ? (the line does not fit the layout)",
    )


def test_a_layout_that_reads_no_line_is_wrong(check: Check, tmp_path: Path) -> None:
    write(tmp_path, "20:00:00 nothing that fits", "20:00:15 nothing that fits")
    mark, text = found(check(code=1), "of the last 2 lines")
    assert mark == "WRONG"
    assert "0 are decodes" in text
    assert "2 rejected" in text


@pytest.mark.parametrize("content", [None, ""])
def test_a_log_without_lines_is_said_not_to_be_checked(
    content: str | None, check: Check, tmp_path: Path
) -> None:
    if content is not None:
        (tmp_path / "decodes.log").write_text(content, "ascii")
    mark, text = found(check(), "no line could be read")
    assert mark == "not checked"
    assert str(tmp_path / "decodes.log") in text


def test_the_home_and_what_counts_as_far_are_told(check: Check) -> None:
    # FN84ab: 44 3.75' N 63 57.5' W, by the definition of the locator (IARU, Lillehammer 1999)
    mark, text = found(check("[verdict]\nfar_km = 700\n"), "home is")
    assert mark == "good"
    assert text == f"home is {HOME}: 44.06° N, 63.96° W; far is 700 km and more; 6m is 50 to 54 MHz"


def test_a_watch_that_cannot_tell_deaf_from_dead_is_told(check: Check) -> None:
    assert found(check(), "deaf receiver")[0] == "not checked"
    assert found(check('[receiver]\ncanaries = ["VE1QBC"]\n'), "VE1QBC")[0] == "good"
    assert found(check("[receiver]\nline_silence_min = 10\n"), "10 min")[0] == "good"


def test_what_was_not_looked_for_is_told(check: Check) -> None:
    findings = check()
    assert found(findings, "no [mqtt]")[0] == "not checked"
    assert found(findings, "glass, lamps or button")[0] == "not checked"
    assert found(check("[lamps]\n"), "lamps: only running shows")[0] == "not checked"


def test_a_path_that_cannot_work_is_wrong(check: Check) -> None:
    mark, text = found(check('[panel]\npicture = "gone/panel.png"\n', code=1), "[panel] picture")
    assert mark == "WRONG"
    assert "line 8" in text


def test_a_source_of_another_kind_is_said_not_to_be_checked(check: Check, tmp_path: Path) -> None:
    extra = '[[source]]\nkind = "udp"\nport = 52001\nlayout = "{utc:epoch} {message}"\n'
    assert found(check(extra), "udp")[0] == "not checked"


def test_a_broker_that_answers_is_good_and_keeps_nothing(check: Check, tmp_path: Path) -> None:
    with RealBroker(tmp_path) as broker:
        findings = check(f"[mqtt]\nport = {broker.port}\n")
        with Listener(broker) as listener:
            listener.ask()
            assert listener.payloads() == []
    assert found(findings, "connected to")[0] == "good"
    assert found(findings, "publish")[0] == "not checked"


def test_a_broker_that_is_not_there_is_wrong(check: Check) -> None:
    port = free_port()
    mark, text = found(check(f"[mqtt]\nport = {port}\n", code=1), "broker 127")
    assert mark == "WRONG"
    assert str(port) in text
    assert "start the broker" in text


def test_a_broker_that_refuses_the_password_is_wrong_and_the_password_is_not_shown(
    check: Check, tmp_path: Path
) -> None:
    (tmp_path / "secret").write_text("hunter2\n", "ascii")
    with RealBroker(tmp_path, users={"home": "another"}) as broker:
        findings = check(f'[mqtt]\nport = {broker.port}\nuser = "home"\npassword_file = "secret"\n', code=1)
    mark, text = found(findings, "broker 127")
    assert mark == "WRONG"
    assert "password" in text
    assert "hunter2" not in str(findings)


def test_the_neighbours_broker_is_proved_too_and_its_password_not_shown(check: Check, tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("hunter2\n", "ascii")
    login = 'user = "node"\npassword_file = "secret"\n'
    for password, code, mark in (("hunter2", 0, "good"), ("another", 1, "WRONG")):
        with RealBroker(tmp_path, users={"node": password}, acl=SHARED_ACL.read_text("utf-8")) as broker:
            findings = check(f"[neighbours]\nport = {broker.port}\nreach_km = 200\n{login}", code=code)
        assert found(findings, "neighbours' broker 127")[0] == mark
        assert found(findings, "within 200 km")[1].startswith("tells neighbours of FN84, listens to")
        assert "hunter2" not in str(findings)


def test_before_the_services_first_start_the_password_is_read_from_its_own_file(
    check: Check, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the service it is the copy that the service manager hands over: it cannot read the original."""
    (tmp_path / "mqtt-password").write_text("hunter2\n", "ascii")
    handed_over = tmp_path / "credentials"
    handed_over.mkdir()
    (handed_over / "mqtt-password").write_text("handed over\n", "ascii")
    extra = '[mqtt]\nuser = "home"\npassword_file = "mqtt-password"\nport = '
    for directory, password in ((None, "hunter2"), (handed_over, "handed over"), (tmp_path / "x", "hunter2")):
        if directory is not None:
            monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(directory))
        with RealBroker(tmp_path, users={"home": password}) as broker:
            findings = check(f"{extra}{broker.port}\n")
        assert found(findings, "connected to")[0] == "good"


def test_the_lines_of_several_bands_are_told_apart(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with_frequency = [(50.313, 5), (28.074, 3), (14.074, 2)]
    texts = [
        one.line().replace("Z ", f"Z {mhz} ", 1)
        for mhz, count in with_frequency
        for one in calling(LOCAL, START_S, START_S + 30 * count)
    ]
    write(tmp_path, *texts)
    file = tmp_path / "sentinel.toml"
    text = CONFIG.replace("{snr_db}", "{freq_mhz} {snr_db}") + '[band]\nalso = ["10m", "2m"]\n'
    file.write_text(text, "utf-8")
    assert main(["check", "--config", str(file)]) == 0
    said = capsys.readouterr().out
    assert (
        "good  also watched: 10m (28 to 29.7 MHz), 2m (144 to 148 MHz); [receiver] is about 6m alone" in said
    )
    assert "not checked  source file-1: 5 on 6m, 3 on 10m, 2 on no band that is watched" in said
