"""Kill a process that writes the diary, without warning and at a random moment, and look what is left.

Run as ``python tests/faults/diary_kill.py --runs 300``; the short form of it is a test. Each run starts a
writer on the same file, reads the batches that it says are written, kills it, opens the diary as the daemon
would, and compares: the file is sound, every acknowledged batch is there whole, none is there in part, none
twice, and the checkpoint names exactly the last one. Prints the seed and the counts; exits 1 at the first
fault.
"""

import argparse
import os
import random
import select
import signal
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.row import written_by

from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_file import check, connect
from sentinel.outputs.diary_rows import Checkpoint, DiaryBatch, OpeningRow, SightingRow, StateRow
from sentinel.watch.bulletin import Mode, Opening, State

BAND, SOURCE = "6m", "decodes.log"
START_S = 1_750_000_000.0
SIGHTINGS = 20
LONGEST_LIFE_S = 0.05


def batch(number: int) -> DiaryBatch:
    """Batch ``number``: sightings, a state, an opening that grows with each batch, and the checkpoint."""
    at_s = START_S + 60 * number
    squares = ("KM17",)
    grown = Opening(
        "one", START_S, at_s, None, at_s, 120.0, 5.0, 3, 3, number, squares, 2000, 2050, -3.0, Mode.SPORADIC_E
    )
    return DiaryBatch(
        sightings=tuple(
            SightingRow(at_s, BAND, f"SV{n % 10}QA{chr(65 + n // 10)}", "KM17", 2050.0, 121.0, -12.0, 0.9)
            for n in range(SIGHTINGS)
        ),
        states=(StateRow(at_s, BAND, State.OPEN, f"batch {number}"),),
        openings=(OpeningRow(BAND, grown),),
        checkpoints=(Checkpoint(SOURCE, str(number)),),
    )


def write_for_ever(path: Path) -> None:
    """The process that is killed: go on after the last checkpoint and say each number once it is written."""
    with Diary(path) as diary:
        number = int(diary.checkpoints().get(SOURCE, "0"))
        while True:
            number += 1
            diary.write(batch(number))
            print(number, flush=True)


def look(path: Path, acknowledged: int) -> tuple[str, int]:
    """What is wrong with the diary after a kill, empty for nothing; and its checkpoint."""
    with Diary(path) as diary:
        checkpoint = int(diary.checkpoints().get(SOURCE, "0"))
        if diary.note:
            return diary.note, checkpoint
    with closing(connect(path)) as connection:
        check(connection)
        return _differences(connection, acknowledged, checkpoint), checkpoint


def _differences(connection: sqlite3.Connection, acknowledged: int, checkpoint: int) -> str:
    expected = {"sighting": SIGHTINGS * checkpoint, "state_change": checkpoint, "opening": min(checkpoint, 1)}
    found = {table: connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in expected}
    grown = connection.execute("SELECT total_stations FROM opening").fetchone()
    if not acknowledged <= checkpoint <= acknowledged + 1:
        return f"acknowledged {acknowledged}, but the checkpoint is {checkpoint}"
    if found != expected:
        return f"at checkpoint {checkpoint} there should be {expected} rows and are {found}"
    if checkpoint and grown != (checkpoint,):
        return f"the opening is at {grown}, the checkpoint at {checkpoint}"
    return ""


def kill_once(path: Path, chance: random.Random) -> tuple[int, int]:
    """Start a writer, kill it within its first moments of writing.

    Returns the last number that it acknowledged, or 0, and how many bytes it wrote.
    """
    command = [sys.executable, __file__, "--writer", str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as writer:
        assert writer.stdout is not None
        if chance.random() < 0.9:  # else it may still be opening, or making its tables
            select.select([writer.stdout], [], [], 30.0)
        select.select([], [], [], chance.uniform(0, LONGEST_LIFE_S))
        written = written_by(writer.pid)
        writer.send_signal(signal.SIGKILL)
        whole_lines = writer.stdout.read().rpartition(b"\n")[0].split()
    return (int(whole_lines[-1]) if whole_lines else 0), written


def kill_often(runs: int, seed: int) -> tuple[int, int, int, str]:
    """Kill so often, up to the first fault: kills survived, batches, bytes written, what was wrong."""
    chance, batches, written = random.Random(seed), 0, 0
    with tempfile.TemporaryDirectory() as directory:
        path = Path(directory) / "diary.sqlite"
        for run in range(runs):
            acknowledged, bytes_now = kill_once(path, chance)
            written += bytes_now
            fault, batches = look(path, max(batches, acknowledged))
            if fault:
                return run, batches, written, fault
    return runs, batches, written, ""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=300)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--writer", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.writer:
        write_for_ever(given.writer)
    seed = given.seed if given.seed is not None else int.from_bytes(os.urandom(4))
    survived, batches, _, fault = kill_often(given.runs, seed)
    if fault:
        print(f"seed {seed}, run {survived + 1}: {fault}")
        return 1
    print(f"seed {seed}: {survived} kills, {batches} batches, 0 acknowledged lost, 0 damaged")
    return 0


if __name__ == "__main__":
    sys.exit(main())
