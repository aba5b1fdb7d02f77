"""The command line: what every command promises, whichever it is."""

import json
import os
import re
import signal
import subprocess
from importlib.metadata import entry_points, version
from pathlib import Path

import pytest
from command_line import PATIENCE_S, SENTINEL, sentinel

from sentinel import cli

COMMANDS = cli.COMMANDS
CONFIG = '[station]\nlocator = "FN84ab"\n[[source]]\npath = "night.log"\nlayout = "{utc} {message}"\n'
LOG = "".join(f"2026-06-14T20:{minute:02d}:00Z CQ VE1QZZ FN84\n" for minute in range(60))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a good configuration and a log, made the working directory."""
    (tmp_path / "sentinel.toml").write_text(CONFIG, "utf-8")
    (tmp_path / "night.log").write_text(LOG, "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_commands_of_the_contract_are_there() -> None:
    assert set(COMMANDS) >= {"run", "demo", "replay", "learn", "check", "panel", "schema"}


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself_with_an_example(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main([command, "--help"])
    assert ended.value.code == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"example: sentinel {command} " in said + " "


@pytest.mark.parametrize("command", COMMANDS)
def test_the_example_of_every_command_is_one_that_it_accepts(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        cli.main([command, "--help"])
    example = re.search(r"example: sentinel (.+)", " ".join(capsys.readouterr().out.split()))
    assert example is not None
    options = cli.parser().parse_args(example[1].split())
    assert options.command == command


def test_the_help_lists_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(["--help"])
    assert ended.value.code == 0
    said = capsys.readouterr().out
    for command in COMMANDS:
        assert re.search(rf"^ +{command} +\w", said, re.M)


def test_the_module_runs_as_the_installed_command_does() -> None:
    (script,) = entry_points(group="console_scripts", name="sentinel")
    assert script.load() is cli.main
    done = sentinel("--version")
    assert done.returncode == 0
    assert done.stdout == f"sentinel {version('vhf-sentinel')}\n"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], ["COMMAND"]),
        (["reply"], ["'reply'", "replay"]),
        (["run"], ["--config"]),
        (["run", "--config"], ["--config"]),
        (["replay", "--config", "sentinel.toml"], ["LOG"]),
        (["replay", "night.log"], ["--config"]),
        (
            ["replay", "night.log", "--config", "sentinel.toml", "--until", "noon"],
            ["--until", "'noon'", "T20:15"],
        ),
        (["demo", "--speed", "0"], ["--speed", "'0'", "1 to 1000"]),
        (["demo", "--speed", "fast"], ["--speed", "'fast'"]),
        (["demo", "--seed", "x"], ["--seed", "'x'"]),
        (["panel"], ["--bulletin", "--samples"]),
        (["panel", "--bulletin", "x", "--size", "1x1"], ["--size", "250x122"]),
        (["check", "--config", "x", "--nonsense"], ["--nonsense"]),
        (["run", "--config", "a\n\x1b[2J", "--nonsense"], ["--nonsense"]),
    ],
    ids=" ".join,
)
def test_bad_usage_is_one_line_that_says_where_the_help_is(
    arguments: list[str], words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(arguments)
    assert ended.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("sentinel")
    assert said.err[:-1].isprintable()
    assert "--help" in said.err
    for word in words:
        assert word in said.err


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["replay", "night.log", "--config", "gone.toml"], 2, ["gone.toml", "no such file"]),
        (["replay", "gone.log", "--config", "sentinel.toml"], 2, ["gone.log", "no such file"]),
        (["replay", ".", "--config", "sentinel.toml"], 2, [".", "log"]),
        (["learn", "gone.log"], 2, ["gone.log", "no such file"]),
        (["panel", "--bulletin", "gone.json"], 2, ["gone.json", "cannot be read"]),
        (["panel", "--bulletin", "night.log"], 2, ["night.log", "JSON"]),
        (["panel", "--bulletin", "number.json"], 2, ["number.json", "object"]),
        (["panel", "--bulletin", "state.json", "--out", "gone/p.png"], 1, ["gone/p.png", "written"]),
        (["panel", "--bulletin", "state.json", "--out", "picture.zzz"], 1, ["picture.zzz", ".png"]),
        (["panel", "--bulletin", "part.json"], 2, ["part.json", "far_stations", "sentinel schema"]),
        (["panel", "--samples", "night.log"], 1, ["night.log", "written"]),
        (["schema", "weather"], 2, ["'weather'", "state"]),
        (["check", "--config", "a\n\x1b[2J"], 2, [r"a\n\x1b[2J", "no such file"]),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else str(value),
)
def test_a_failure_is_one_line_with_the_thing_and_the_mend(
    arguments: list[str], code: int, words: list[str], folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    state = {"state": "quiet", "at": "2026-06-14T20:15:00Z", "because": "Nothing far has been heard."}
    (folder / "number.json").write_text("7", "utf-8")
    (folder / "part.json").write_text(json.dumps(state), "utf-8")
    (folder / "state.json").write_text(json.dumps({**state, "far_stations": 0}), "utf-8")
    assert cli.main(arguments) == code
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err[:-1].isprintable()
    for word in words:
        assert word in said.err


def test_a_reader_that_has_seen_enough_is_no_failure() -> None:
    with subprocess.Popen([*SENTINEL, "schema"], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.read(1) == b"{"
        process.stdout.close()
        assert process.wait(PATIENCE_S) == 0
        assert process.stderr.read() == b""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no /dev/full")
@pytest.mark.parametrize(
    "command", [["schema"], ["replay", "night.log", "--config", "sentinel.toml", "--json"]]
)
def test_output_that_the_system_refuses_is_a_failure_in_one_line(command: list[str], folder: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [*SENTINEL, *command],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )
    assert done.returncode == 1
    assert re.fullmatch(r"sentinel: .*No space left on device.*\n", done.stderr)


def test_a_terminal_that_knows_only_ascii_is_enough(folder: Path) -> None:
    ascii_only = {**os.environ, "PYTHONIOENCODING": "ascii"}
    for arguments in (
        ["check", "--config", "sentinel.toml"],
        ["replay", "night.log", "--config", "sentinel.toml"],
    ):
        done = sentinel(*arguments, environment=ascii_only)
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout.isascii()


def test_a_log_from_a_pipe_is_replayed_until_the_interrupt(folder: Path) -> None:
    command = [*SENTINEL, "replay", "-", "--config", "sentinel.toml", "--json"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=unbuffered()
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdin.write(300 * LOG.encode())  # more than is read ahead
        process.stdin.flush()
        assert json.loads(process.stdout.readline())["state"] == "quiet"
        process.send_signal(signal.SIGINT)
        process.stdin.close()
        assert process.wait(PATIENCE_S) == 128 + signal.SIGINT
        assert process.stderr.read() == b""


def unbuffered() -> dict[str, str]:
    return {**os.environ, "PYTHONUNBUFFERED": "1"}


def test_a_log_may_come_on_standard_input(folder: Path) -> None:
    piped = sentinel("replay", "-", "--config", "sentinel.toml", "--json", given=LOG.encode())
    read = sentinel("replay", "night.log", "--config", "sentinel.toml", "--json")
    assert piped.returncode == 0
    assert piped.stdout == read.stdout
    assert '"lines":60' in piped.stdout
