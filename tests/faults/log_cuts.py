"""A power cut takes the log's end, and the decoder writes on before the daemon looks.

The daemon is stopped or killed, the log loses bytes that had been read, more is written behind, and a daemon
starts: the diary must hold every sighting once, also those whose lines are gone. The first cuts reach into
the kibibyte by which the log is known again; what is then read twice must not be kept twice.
"""

import os
import random
import signal
import tempfile
from pathlib import Path

from faults.evening import Slot, lost_and_doubled, pause, place_in_log, read_to_the_end
from faults.row import Faults, Row, written_by
from running import PATIENCE_S, daemon

SLOTS_A_LIFE = 12
MOST_CUT_BYTES = 1500


def under_the_daemon(is_long: bool) -> Row:
    """In each life the daemon reads some slots; what the diary stands for may then be cut off the log."""
    cuts, chance = (60 if is_long else 2), random.Random(6)
    slots = bytes_written = survived = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log, diary = folder / "decodes.log", folder / "state" / "diary.sqlite"
        for _ in range(cuts):
            slots = hear(log, slots, SLOTS_A_LIFE)
            with daemon(folder, None) as running:
                running.says("watching 6m")
                slots = hear(log, slots, SLOTS_A_LIFE)
                pause(chance.uniform(0.2, 0.6))
                bytes_written += written_by(running.process.pid)
                running.process.send_signal(chance.choice((signal.SIGTERM, signal.SIGKILL)))
                survived += running.process.wait(PATIENCE_S) in (0, -signal.SIGKILL)
            bytes_written += read_to_the_end(folder)
            cut_bytes = chance.randrange(MOST_CUT_BYTES)
            os.truncate(log, max(0, place_in_log(diary) - cut_bytes))
            with log.open("ab") as file:
                file.write(b"\n")  # a decoder that starts anew begins a line
        slots = hear(log, slots, SLOTS_A_LIFE)
        with daemon(folder, None) as running:
            running.says("watching 6m")
            pause(1.0)
            running.stop(signal.SIGTERM)
        lost, doubled = lost_and_doubled(slots, diary)
    note = f"{slots:,} slots, {doubled} doubled"
    return Row(cuts, survived if not doubled else 0, lost, bytes_written, note)


def hear(log: Path, first: int, count: int) -> int:
    """Append so many slots; the number of the next one."""
    with log.open("ab") as file:
        file.write(b"".join(Slot(number).text() for number in range(first, first + count)))
    return first + count


FAULTS: Faults = {"power cuts that shorten the log under the daemon": under_the_daemon}
