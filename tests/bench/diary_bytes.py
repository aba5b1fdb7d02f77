"""How much the diary writes to the card in a day. Prints figures, passes no judgement.

``python tests/bench/diary_bytes.py --directory DIR`` writes one day of 5,760 sightings (one a slot of 15 s),
flushed once a minute as the daemon does, each flush with the checkpoint of one source, and every
``--snapshot-min`` minutes with a snapshot of the core. Two counts, from what the kernel tells of the process:

* write calls: the bytes that SQLite passed to them;
* blocks made dirty: whole 4 KiB blocks of the page cache that go to the card; DIR must not be in memory. With
  ``--settle`` the whole system is synced after each flush: that adds the log's index, which SQLite maps into
  memory and the kernel writes back in its own time, and takes minutes.
"""

import argparse
import json
import os
import random
import tempfile
from pathlib import Path

from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_rows import Checkpoint, DiaryBatch, SightingRow, Snapshot, Watched

BAND = "6m"
START_S = 1_750_000_000.0
MINUTES = 1440
SLOTS_A_MINUTE = 4


def counters() -> dict[str, int]:
    """The kernel's counts of this process's writing, bytes."""
    lines = Path("/proc/self/io").read_text("ascii").splitlines()
    return {name: int(value) for name, value in (line.split(": ") for line in lines)}


def snapshot(chance: random.Random, stations: int) -> str:
    """JSON text about as long, and as hard to compress, as a core that holds so many stations."""
    return json.dumps(
        [
            {
                "call": f"SV{chance.randrange(10)}Q{chance.choice('ABCDEFGH')}{chance.choice('KLMNOPQR')}",
                "locator": f"KM{chance.randrange(100):02d}",
                "first_at_s": START_S + 15 * chance.randrange(5760),
                "last_at_s": START_S + 15 * chance.randrange(5760),
                "snr_db": chance.randrange(-24, 10),
                "bearing_deg": round(chance.uniform(0, 360), 4),
            }
            for _ in range(stations)
        ]
    )


def sighting(chance: random.Random, at_s: float) -> SightingRow:
    """One of 300 invented stations, each in its own place."""
    station = chance.randrange(300)
    call = f"SV{station % 10}Q{'ABCDEF'[station // 10 % 6]}{'KLMNO'[station // 60]}"
    place = random.Random(station)
    locator = f"KM{place.randrange(100):02d}"
    distance_km, bearing_deg = place.uniform(800, 2300), place.uniform(90, 150)
    snr_db, audio_hz = float(chance.randrange(-24, 10)), float(chance.randrange(200, 2800))
    return SightingRow(at_s, BAND, call, locator, distance_km, bearing_deg, snr_db, 0.9, audio_hz, "Greece")


def minute(chance: random.Random, number: int) -> DiaryBatch:
    """The rows of one minute and the checkpoint behind them."""
    start_s = START_S + 60 * number
    rows = tuple(sighting(chance, start_s + 15 * slot) for slot in range(SLOTS_A_MINUTE))
    place = {"dev": 45826, "ino": 131, "offset": 261 * number, "head_hash": "a" * 32}
    checkpoint = json.dumps(place | {"tail_hash": f"{chance.getrandbits(128):032x}", "date": "2025-06-15"})
    return DiaryBatch(
        sightings=rows,
        checkpoints=(Checkpoint("decodes.log", checkpoint),),
        watched=(Watched(BAND, start_s + 60),),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--directory", type=Path, default=None, help="on the file system to measure")
    parser.add_argument("--snapshot-min", type=int, default=0, help="minutes between snapshots; 0: none")
    parser.add_argument("--snapshot-stations", type=int, default=60)
    parser.add_argument("--settle", action="store_true", help="sync the whole system after each flush")
    given = parser.parse_args()
    chance = random.Random(1)
    with tempfile.TemporaryDirectory(dir=given.directory) as directory:
        path = Path(directory) / "diary.sqlite"
        with Diary(path) as diary:
            diary.write(minute(chance, -1))
            before = counters()
            for number in range(MINUTES):
                batch = minute(chance, number)
                if given.snapshot_min and number % given.snapshot_min == 0:
                    text = snapshot(chance, given.snapshot_stations)
                    batch = batch.then(DiaryBatch(snapshots=(Snapshot(BAND, text),)))
                diary.write(batch)
                if given.settle:
                    os.sync()
        after = counters()
        rows = MINUTES * SLOTS_A_MINUTE
        for name, what in (("wchar", "write calls"), ("write_bytes", "blocks made dirty")):
            count = after[name] - before[name]
            print(f"{what:>18}: {count / 1e6:6.2f} MB a day, {count / rows:6.0f} bytes a row")
        print(f"{'the diary':>18}: {path.stat().st_size / 1e6:6.2f} MB a day of {rows} rows")


if __name__ == "__main__":
    main()
