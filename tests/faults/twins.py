"""Two daemons where there should be one: of one identity at a broker, and on one state directory."""

import signal
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest
from broker import RealBroker
from faults.evening import Slot, lost_and_doubled, pause, read_to_the_end
from faults.row import Faults, Row, written_by
from running import daemon, eventually
from test_broker_link import TOPICS

SUSPICION = "does another client use this node id?"


def two_with_one_identity(is_long: bool) -> Row:
    """A card was copied: two daemons of one node id at one broker, each with its own log.

    They take each other's place, ever more seldom, until they suspect it; the short form waits for the first
    time only. (``test_broker_link.py`` has the suspicion.)
    """
    slots = 80
    gone = doubled = bytes_written = survived = 0
    with tempfile.TemporaryDirectory() as name, RealBroker(Path(name)) as broker:
        folders = [Path(name) / each for each in ("one", "other")]
        for folder in folders:
            (folder / "state").mkdir(parents=True)
            (folder / "state" / "node-id").write_text(f"{TOPICS.node}\n", "ascii")
            (folder / "decodes.log").touch()
        with daemon(folders[0], broker.port) as one, daemon(folders[1], broker.port) as other:
            for each in (one, other):
                each.says("watching 6m")
            for number in range(slots):
                for folder in folders:
                    with (folder / "decodes.log").open("ab") as log:
                        log.write(Slot(number).text())
            eventually(lambda: _kicks(broker), "one taking the other's place", one.log)
            if is_long:
                _wait(lambda: any(SUSPICION in each.log.read_text("utf-8") for each in (one, other)))
            kicks = _kicks(broker)
            for each in (one, other):
                survived += each.process.poll() is None
                bytes_written += written_by(each.process.pid)
                each.stop(signal.SIGTERM)
        for folder in folders:
            bytes_written += read_to_the_end(folder)
            missing, twice = lost_and_doubled(slots, folder / "state" / "diary.sqlite")
            gone, doubled = gone + missing, doubled + twice
    note = f"{kicks} times one took the other's place"
    return Row(2, survived if not doubled else 0, gone, bytes_written, note)


def two_on_one_state(is_long: bool) -> Row:
    """Started by hand beside the service: two daemons read one log and write one diary."""
    slots, gone, doubled, bytes_written, survived = (400 if is_long else 60), 0, 0, 0, 0
    with tempfile.TemporaryDirectory() as name:
        one_folder, other_folder = Path(name) / "one", Path(name) / "other"
        (one_folder / "state").mkdir(parents=True)
        other_folder.mkdir()
        log = one_folder / "decodes.log"
        log.touch()
        (other_folder / "state").symlink_to(one_folder / "state")
        (other_folder / "decodes.log").hardlink_to(log)
        with daemon(one_folder, None) as one, daemon(other_folder, None) as other:
            for each in (one, other):
                each.says("watching 6m")
            for number in range(slots):
                with log.open("ab") as file:
                    file.write(Slot(number).text())
            pause(1.0)
            for each in (one, other):
                survived += each.process.poll() is None
                bytes_written += written_by(each.process.pid)
                each.stop(signal.SIGTERM)
        bytes_written += read_to_the_end(one_folder)
        gone, doubled = lost_and_doubled(slots, one_folder / "state" / "diary.sqlite")
    note = f"{slots} slots, {doubled} doubled"
    return Row(2, survived if not doubled else 0, gone, bytes_written, note)


def _kicks(broker: RealBroker) -> int:
    return sum("already connected" in line for line in broker.log)


def _wait(claim: Callable[[], bool]) -> None:
    """Longer than other things take: the pauses between attempts double from seconds to minutes."""
    for _ in range(1200):
        if claim():
            return
        pause(0.25)
    pytest.fail("nobody suspected the other")


FAULTS: Faults = {
    "two daemons with one identity": two_with_one_identity,
    "two daemons on one state directory": two_on_one_state,
}
