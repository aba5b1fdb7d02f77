"""``sentinel demo``, as its users run it: nothing mocked, only band time runs faster."""

import json
import os
import re
import subprocess
from pathlib import Path

import pytest
from command_line import SENTINEL, sentinel
from PIL import Image

PATIENCE_S = 240.0
SPEED = "160"  # faster, and a machine that is busy for a second or two sees its band time jump


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, "subprocess.CompletedProcess[str]"]:
    """One demo with its folder kept, in a session of its own so that what it leaves behind can be found."""
    pytest.importorskip("amqtt", reason="the demo's broker is in the extra [demo]")
    folder = tmp_path_factory.mktemp("demo") / "kept"
    with subprocess.Popen(
        [*SENTINEL, "demo", "--speed", SPEED, "--keep", str(folder)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        out, err = process.communicate(timeout=PATIENCE_S)
    assert session_is_over(process.pid), "the demo has left a process behind"
    return folder, subprocess.CompletedProcess(process.args, process.returncode, out, err)


def session_is_over(session: int) -> bool:
    """Whether no process of the session is left."""
    try:
        os.killpg(session, 0)
    except ProcessLookupError:
        return True
    return False


def test_the_demo_succeeds_and_says_nothing_on_standard_error(
    demo: tuple[Path, "subprocess.CompletedProcess[str]"],
) -> None:
    _, done = demo
    assert (done.returncode, done.stderr) == (0, ""), done.stdout


def test_the_demo_goes_through_the_states_and_its_end_says_so(
    demo: tuple[Path, "subprocess.CompletedProcess[str]"],
) -> None:
    _, done = demo
    summary = re.search(
        r"received (\d+) messages over MQTT: ([a-z> ]+); 1 opening began, 1 ended\.", done.stdout
    )
    assert summary is not None, done.stdout
    told = iter(summary[2].split(" > "))
    assert all(state in told for state in ("quiet", "stirring", "open", "quiet"))
    assert next(told, None) is None, "quiet is the last word"
    assert "blind" not in summary[2]


def test_the_demo_leaves_a_picture_and_says_where(
    demo: tuple[Path, "subprocess.CompletedProcess[str]"],
) -> None:
    folder, done = demo
    assert done.stdout.splitlines()[-1].endswith(str(folder / "panel.png"))
    with Image.open(folder / "panel.png") as picture:
        assert picture.size == (250, 122)


def test_a_replay_of_the_demos_log_says_what_the_demo_said(
    demo: tuple[Path, "subprocess.CompletedProcess[str]"],
) -> None:
    folder, done = demo
    replayed = sentinel("replay", folder / "decodes.log", "--config", folder / "sentinel.toml", "--json")
    assert (replayed.returncode, replayed.stderr) == (0, "")
    records = [json.loads(line) for line in replayed.stdout.splitlines()]
    live = re.findall(r"^\d\d:\d\d state: ([a-z]+)\.", done.stdout, re.M)
    replay = [record["state"] for record in records if record["kind"] == "state"]
    # Not when, nor how often it stirs: a second in which the machine is busy is minutes of band time.
    for told in (live, replay):
        assert set(told[: told.index("open")]) == {"quiet", "stirring"}
        assert set(told[told.index("open") + 1 :]) <= {"quiet", "stirring"}
        assert told[-1] == "quiet"


def test_a_folder_with_anything_in_it_is_not_written_over(
    demo: tuple[Path, "subprocess.CompletedProcess[str]"],
) -> None:
    folder, _ = demo
    before = {file: file.read_bytes() for file in folder.iterdir()}
    done = sentinel("demo", "--keep", folder)
    assert done.returncode == 2
    assert "not empty" in done.stderr
    assert {file: file.read_bytes() for file in folder.iterdir()} == before


def test_without_its_broker_the_demo_says_what_to_install(tmp_path: Path) -> None:
    (tmp_path / "amqtt.py").write_text("raise ImportError", "ascii")
    done = sentinel("demo", environment={**os.environ, "PYTHONPATH": str(tmp_path)})
    assert done.returncode == 2
    assert "vhf-sentinel[demo]" in done.stderr
    assert done.stderr.count("\n") == 1
