"""The documentation cannot drift: every command in it is run, every configuration read, every link followed.

Commands run in a temporary folder, on the files that the README's own demo leaves there. What needs a Pi or a
system's service manager is held against the files that it names.
"""

import importlib
import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import tomllib
from collections.abc import Callable
from datetime import date
from itertools import pairwise
from pathlib import Path

import pytest
from broker import Listener, RealBroker
from command_line import PATIENCE_S, SENTINEL, sentinel
from test_install import Target
from test_install import target as target  # the fixture: an installer in a root of its own

from sentinel import cli
from sentinel.config import load, parse
from sentinel.intake.layout import Header, Layout, LayoutReader
from sentinel.intake.layout_template import FIELDS
from sentinel.outputs.mqtt_messages import STATE_EXPIRY_S, Topics
from sentinel.watch import evidence, trust, verdict
from sentinel.watch.decode import Decode

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
BLOCKS = [(kind, body) for kind, body in re.findall(r"^```(\w*)\n(.*?)^```$", README, re.M | re.S)]
COMMANDS = [line for kind, body in BLOCKS if kind == "sh" for line in body.splitlines()]
DEMO = "python3 -m venv .venv && .venv/bin/pip install -q '.[demo]' && .venv/bin/sentinel demo"
TESTS = "python3 -m venv .venv && .venv/bin/pip install -q -e '.[test]' && .venv/bin/pytest"
OURS = [command for command in COMMANDS if command.startswith("sentinel ")]
FASTER = ("--speed", "400")
LINE = "CQ KI4QBQ EM73"


def blocks(kind: str) -> list[str]:
    return [body for each, body in BLOCKS if each == kind]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the README's reader stands after the demo, with the README's configuration written down."""
    pytest.importorskip("amqtt", reason="the demo's broker is in the extra [demo]")
    made = tmp_path_factory.mktemp("readme")
    assert "sentinel demo --keep demo" in OURS
    done = sentinel("demo", "--keep", "demo", *FASTER, cwd=made)
    assert done.returncode == 0, done.stdout + done.stderr
    configuration = [body for body in blocks("toml") if body.startswith("[station]")]
    assert len(configuration) == 1
    (made / "sentinel.toml").write_text(configuration[0], "utf-8")
    replayed = sentinel("replay", "demo/decodes.log", "--config", "sentinel.toml", "--json", cwd=made).stdout
    states = [line for line in replayed.splitlines() if json.loads(line)["kind"] == "state"]
    (made / "state.json").write_text(states[-1], "utf-8")
    return made


# --- the commands -----------------------------------------------------------------------------------


def test_the_readme_opens_with_the_demo_and_the_tests_each_in_a_block_of_its_own() -> None:
    assert blocks("sh")[:2] == [DEMO + "\n", TESTS + "\n"]
    assert README.index(DEMO) < README.index(TESTS)


def test_the_two_opening_commands_are_what_ci_runs() -> None:
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    for step in ("-m venv ", "/bin/pip\" install -q -e '.[test]'", '/bin/sentinel" demo', '/bin/pytest"'):
        assert step in script
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]
    ours = [each for each in extras["test"] if each.startswith("vhf-sentinel[")]
    assert "demo" in re.findall(r"\w+", "".join(ours))  # so the environment of the tests can play the demo


def as_here(command: str) -> list[str]:
    """The words behind ``sentinel``, with the installed configuration's path replaced by the folder's."""
    return shlex.split(command.replace("/etc/sentinel/", ""))[1:]


ENDING = [c for c in OURS if c.split()[1] not in ("demo", "run")]


@pytest.mark.parametrize("command", ENDING)
def test_every_command_of_ours_does_what_the_readme_says_it_can(command: str, folder: Path) -> None:
    environment = {**os.environ, "STATE_DIRECTORY": str(folder / "state")}
    done = sentinel(*as_here(command), cwd=folder, environment=environment)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout


@pytest.mark.parametrize("command", [c for c in OURS if c.split()[1] == "run"])
def test_the_watch_runs_as_the_readme_says_until_it_is_interrupted(
    command: str, folder: Path, tmp_path: Path
) -> None:
    with subprocess.Popen(
        [*SENTINEL, *as_here(command)],
        cwd=folder,
        env={**os.environ, "STATE_DIRECTORY": str(tmp_path)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        shown = process.stdout.readline()
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=PATIENCE_S)
    assert re.search("QUIET|STIRRING|OPEN|BLIND", shown), shown + said
    assert process.returncode == 0, said


def unit() -> str:
    return (ROOT / "systemd" / "sentinel.service").read_text("utf-8")


def try_installer(words: list[str], target: Target) -> None:
    """In a root of its own, with the decoder's directory in it."""
    assert words[0] == "systemd/install"
    for option, value in pairwise(words):
        if option == "--decoder-dir":
            target.path(value).mkdir(parents=True)
    target.installs(*words[1:])


def try_service(words: list[str], target: Target) -> None:
    """Not on this machine: but the unit of that name is ours, and can be enabled."""
    assert words[-1] == "sentinel" or words[-2] == "sentinel"
    assert (ROOT / "systemd" / "sentinel.service").is_file()
    assert "WantedBy=" in unit()


def try_editor(words: list[str], target: Target) -> None:
    """The file is the one that the service reads and the installer writes."""
    assert f"--config {words[1]}\n" in unit()
    target.installs()
    assert target.path(words[1]).is_file()


def try_subscriber(words: list[str], target: Target) -> None:
    """Something published below our root arrives."""
    if shutil.which(words[0]) is None:
        if os.environ.get("SENTINEL_REQUIRE_BROKER") == "1":
            pytest.fail(f"{words[0]} is not installed (Debian: apt-get install mosquitto-clients)")
        pytest.skip(f"{words[0]} is not installed")
    with RealBroker(target.root) as broker, Listener(broker) as publisher:
        publisher.publish(Topics("abc").state("6m"), b"{}", retain=True)
        publisher.wait_for(Topics("abc").state("6m"))
        command = [*words, "-h", broker.host, "-p", str(broker.port), "-C", "1", "-W", "20"]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.stdout == "sentinel/v1/abc/6m/state {}\n", done.stderr


def try_figures(words: list[str], target: Target) -> None:
    """One short scenario: the whole takes minutes."""
    command = [sys.executable, ROOT / words[1], *words[2:], "--seeds", "0:1", "--kinds", "lone-station"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=target.root)
    assert "false openings" in done.stdout, done.stderr


TRIALS: dict[str, Callable[[list[str], Target], None]] = {
    "systemd/install": try_installer,
    "systemctl": try_service,
    "journalctl": try_service,
    "nano": try_editor,
    "mosquitto_sub": try_subscriber,
    ".venv/bin/python": try_figures,
}


@pytest.mark.parametrize("command", [c for c in COMMANDS if c not in (DEMO, TESTS, *OURS)])
def test_every_other_command_is_tried_as_far_as_a_test_may(command: str, target: Target) -> None:
    words = shlex.split(command)
    words = words[1:] if words[0] == "sudo" else words
    assert words[0] in TRIALS, f"no test tries {command!r}"
    TRIALS[words[0]](words, target)


def test_every_subcommand_is_in_the_table_of_commands() -> None:
    told = re.findall(r"^\| `sentinel ([a-z]+)` \|", README, re.M)
    assert sorted(told) == sorted(cli.COMMANDS)


# --- layouts and configuration ----------------------------------------------------------------------


def test_the_layout_that_learn_prints_is_the_one_shown(folder: Path) -> None:
    learnt = sentinel("learn", "demo/decodes.log", cwd=folder).stdout
    assert learnt in blocks("toml")
    assert learnt in (folder / "sentinel.toml").read_text("utf-8")


def test_the_beacon_and_the_place_of_the_example_are_those_of_the_demo(folder: Path) -> None:
    ours, demos = load(folder / "sentinel.toml"), load(folder / "demo" / "sentinel.toml")
    assert (ours.station.locator, ours.receiver.canaries) == (demos.station.locator, demos.receiver.canaries)


@pytest.mark.parametrize("body", [b for b in blocks("toml") if not b.startswith(("[station]", "layout"))])
def test_every_other_configuration_shown_is_accepted(body: str) -> None:
    table = {"station": {"locator": "FN84ab"}, **tomllib.loads(body)}
    parse(table, Path("sentinel.toml"), body)


def test_every_field_of_a_layout_is_explained() -> None:
    rows = "".join(re.findall(r"^\| `\{.*$", README, re.M))
    for name in FIELDS:
        assert f"`{{{name}" in rows


EXAMPLES = re.findall(r"^\| `([^`]+)` \| `([^`]+)` \|$", README, re.M)


def test_there_are_layouts_with_lines_that_they_read() -> None:
    assert len(EXAMPLES) >= 3


@pytest.mark.parametrize(("layout", "line"), EXAMPLES)
def test_every_example_of_a_layout_reads_its_line(layout: str, line: str) -> None:
    found = LayoutReader(Layout.compile(layout), date_hint=date(2026, 6, 20)).read(line)
    assert isinstance(found, Decode)
    assert found.message == LINE
    assert found.has_low_confidence == ("{doubt:" in layout)
    assert int(found.at_s) == 1_781_989_455  # 2026-06-20T21:04:15Z
    assert f"{found.snr_db:.0f} " in line


def test_the_list_of_layouts_reads_a_heading_and_a_line() -> None:
    (body,) = [b for b in blocks("toml") if b.startswith("layout = [")]
    reader = LayoutReader(Layout.compile(tomllib.loads(body)["layout"]))
    assert isinstance(reader.read("--- 20.06.2026 ---"), Header)
    found = reader.read(f"210415 -7 {LINE}")
    assert isinstance(found, Decode)
    assert int(found.at_s) == 1_781_989_455


def test_the_pointers_shown_read_the_json_line_shown() -> None:
    (body,) = [b for b in blocks("toml") if '"json"' in b]
    (line,) = blocks("json")
    (source,) = tomllib.loads(body)["source"]
    found = LayoutReader(Layout.compile(source["layout"], source["fields"])).read(line)
    assert isinstance(found, Decode)
    assert (found.message, found.snr_db, int(found.at_s)) == (LINE, -7.0, 1_781_989_455)


# --- what the README refers to ----------------------------------------------------------------------


def test_the_topics_told_are_the_topics_there_are() -> None:
    told = set()
    table = README.split("| topic below", 1)[1].split("\n\n", 1)[0]
    for names in re.findall(r"^\| ((?:`[a-z0-9/]+`(?:, )?)+) \|", table, re.M):
        told |= {f"sentinel/v1/NODE/{name}" for name in re.findall(r"`([^`]+)`", names)}
    topics = Topics("NODE")
    bands = (topics.state, topics.stations, topics.event, topics.last_event)
    assert told == {
        *(topics.status, topics.health, topics.command, topics.command_result),
        *(of_band("6m") for of_band in bands),
    }
    assert f"expires after {STATE_EXPIRY_S} s" in README


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md", "CHANGELOG.md", "hw/README.md"])
def test_every_link_and_picture_leads_somewhere(page: str) -> None:
    text = (ROOT / page).read_text("utf-8")
    for link in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text):
        if not link.startswith("https://"):
            assert (ROOT / page).parent.joinpath(link).exists(), link


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_every_file_named_in_the_text_is_there(page: str) -> None:
    text = (ROOT / page).read_text("utf-8")
    named = set(re.findall(r"`((?:sentinel(?!/v1)|tests|systemd|config|hw|\.ci)/[\w./-]+)`", text))
    missing = [name for name in named if not (ROOT / name.rstrip("/")).exists()]
    assert not missing


# --- what DEVELOPERS.md says of the method ----------------------------------------------------------

DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
CONSTANTS = re.findall(r"^\| `(\w+)\.([A-Z_]+)` \| ([-\d.]+) \|", DEVELOPERS, re.M)


def test_the_tables_of_constants_are_there() -> None:
    assert {module for module, _, _ in CONSTANTS} >= {
        "evidence",
        "usual",
        "verdict",
        "area",
        "habits",
        "trust",
    }


@pytest.mark.parametrize(("module", "name", "told"), CONSTANTS)
def test_every_constant_told_is_the_one_in_the_code(module: str, name: str, told: str) -> None:
    value = getattr(importlib.import_module(f"sentinel.watch.{module}"), name)
    assert f"{value:.{len(told.partition('.')[2])}f}" == told


def test_every_part_of_trust_is_in_the_table() -> None:
    parts = {name for name in vars(trust) if name.isupper()} - {name for _, name, _ in CONSTANTS}
    assert parts == {
        "CREDIBLE", "LEAST_FALSE_PER_HOUR", "STRONG_SNR_DB", "WEAK_SNR_DB", "ODD_OFFSET_S",
        "COMPANY_S", "COMPANY_IN_OPENING", "REGION_SHARE", "MOST_EXPECTED", "MOST_NATS",
    }  # fmt: skip


def test_the_bars_told_are_those_of_the_formulas() -> None:
    rows = re.findall(r"^\| (\d+) \| ([\d.]+) \| ([\d.]+) \| ([\d.]+) \|$", DEVELOPERS, re.M)
    assert len(rows) >= 5
    for per_hour, newcomer, height, repetitions in rows:
        per_min = int(per_hour) / 60.0
        assert f"{evidence.newcomer_nats(per_min):.2f}" == newcomer
        assert f"{evidence.bar(per_min):.1f}" == height
        assert f"{verdict._repetition_needed(per_min):.1f}" == repetitions


def test_the_commands_for_developers_are_the_readmes_or_run(tmp_path: Path) -> None:
    commands = [
        line
        for body in re.findall(r"^```sh\n(.*?)^```$", DEVELOPERS, re.M | re.S)
        for line in body.splitlines()
    ]
    assert commands[0] == TESTS
    for command, instead, printed in (
        ("verdict_figures.py --seeds 0:20", "--seeds 0:1 --kinds lone-station", "false openings"),
        ("make_golden.py --update", "--help", "expectations anew"),  # not here: it writes into the checkout
    ):
        (words,) = (shlex.split(each) for each in commands if command in each)
        assert words[0] == ".venv/bin/python"
        done = subprocess.run(
            [sys.executable, ROOT / words[1], *words[2:], *instead.split()],
            capture_output=True,
            text=True,
            check=False,
            cwd=tmp_path,
        )
        assert printed in done.stdout, done.stderr
    assert len(commands) == 3


def test_the_arithmetic_of_growth_is_right() -> None:
    rows = re.findall(r"^\| ([\d,]+) \| (\d+) \| (\d+) \| ([\d,]+) \| ([\d,]+) \|$", DEVELOPERS, re.M)
    assert len(rows) == 3
    for row in rows:
        nodes, heard, arriving, steady, changing = (int(cell.replace(",", "")) for cell in row)
        assert heard == round(70 * nodes / 2000)
        assert arriving == round(nodes / 300)
        assert steady == round(nodes * heard / 300)
        assert changing == round(nodes * heard / 60)
