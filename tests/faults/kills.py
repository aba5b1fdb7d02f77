"""``kill -9``: the process that writes the diary alone, and the whole daemon with a decoder that goes on."""

import random
import signal
import tempfile
import threading
from pathlib import Path

from faults.diary_kill import kill_often
from faults.evening import Slot, lost_and_doubled, pause, read_to_the_end
from faults.row import Faults, Row, written_by
from running import PATIENCE_S, daemon

SEED = 6
SLOT_EVERY_S = 0.03
LONGEST_LIFE_S = 1.5


def of_the_diary(is_long: bool) -> Row:
    """Stops at the first fault."""
    kills = 300 if is_long else 5
    survived, batches, written, fault = kill_often(kills, SEED)
    return Row(kills, survived, int(survived < kills), written, fault or f"{batches:,} batches")


class Decoder:
    """Writes slot after slot in a thread, whoever reads."""

    def __init__(self, path: Path) -> None:
        self.slots = 0
        self._file = path.open("ab", buffering=0)
        self._is_over = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while not self._is_over.wait(SLOT_EVERY_S):
            self._file.write(Slot(self.slots).text())
            self.slots += 1

    def stop(self) -> None:
        self._is_over.set()
        self._thread.join()
        self._file.close()


def of_the_daemon(is_long: bool) -> Row:
    """Killed at random moments of its life; at the end every sighting must stand in the diary, once."""
    kills = 300 if is_long else 2
    chance, survived, written = random.Random(SEED), 0, 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        decoder = Decoder(folder / "decodes.log")
        try:
            for _ in range(kills):
                with daemon(folder, None) as running:
                    if chance.random() < 0.8:  # else it may still be importing
                        running.says("watching 6m")
                    pause(chance.uniform(0.0, LONGEST_LIFE_S))
                    written += written_by(running.process.pid)
                    running.process.send_signal(signal.SIGKILL)
                    survived += running.process.wait(PATIENCE_S) == -signal.SIGKILL
        finally:
            decoder.stop()
        written += read_to_the_end(folder)
        lost, doubled = lost_and_doubled(decoder.slots, folder / "state" / "diary.sqlite")
        note = f"{decoder.slots:,} slots, {doubled} doubled"
        return Row(kills, survived if not doubled else 0, lost, written, note)


FAULTS: Faults = {"kill -9 of the diary's writer": of_the_diary, "kill -9 of the daemon": of_the_daemon}
