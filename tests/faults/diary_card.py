"""A real card in small: a file system of 512 KiB that fills up and turns read-only under the diary.

It needs a mount of its own, so run it as
``unshare --user --map-root-user --mount python tests/faults/diary_card.py DIRECTORY`` (a test does).
Exits 0 if the diary behaved, 1 with the reason if not, 77 where no file system may be mounted.
"""

import subprocess
import sys
from contextlib import closing
from pathlib import Path

from sentinel.outputs.diary import Diary, DiaryUnavailable
from sentinel.outputs.diary_queries import openings, reading, sightings
from sentinel.outputs.diary_queue import DiaryQueue
from sentinel.outputs.diary_rows import DiaryBatch, OpeningRow, SightingRow
from sentinel.watch.bulletin import Mode, Opening

CARD_BYTES = 512 * 1024
NO_MOUNT = 77
BAND, START_S = "6m", 1_750_000_000.0


def batch(number: int) -> DiaryBatch:
    at_s = START_S + 15 * number
    opening = Opening(
        str(number), at_s, at_s, at_s, at_s, 120.0, 5.0, 3, 3, 3, ("KM17",), 2000, 2050, -3.0, Mode.SPORADIC_E
    )
    rows = tuple(SightingRow(at_s, BAND, f"SV{n}QAB", "KM17", 2050.0, 121.0, -12.0, 0.9) for n in range(10))
    return DiaryBatch(sightings=rows, openings=(OpeningRow(BAND, opening),))


def drain(queue: DiaryQueue, diary: Diary) -> str:
    """Why the queue could not be drained, empty if it was."""
    try:
        queue.drain(diary)
    except DiaryUnavailable as error:
        return str(error)
    return ""


def fill_and_free(path: Path) -> int:
    """Write until the card is full, go on for a while, make room; the number of batches told."""
    filler, queue, number, failures = path.with_name("filler"), DiaryQueue(), 0, 0
    filler.write_bytes(b"\0" * (CARD_BYTES // 2))
    with closing(Diary(path)) as diary:
        while failures < 20:
            queue.put(batch(number))
            number += 1
            reason = drain(queue, diary)
            failures += bool(reason)
            assert not reason or "the card is full" in reason, reason
            assert number < 2000, "the card never filled"
        assert queue.part().is_well is False
        filler.unlink()
        queue.drain(diary)
        assert queue.dropped_rows == 0
    return number


def remount(card: Path, how: str) -> bool:
    return subprocess.run(["mount", "-o", f"remount,{how}", str(card)], check=False).returncode == 0


def turn_read_only(path: Path, number: int) -> int:
    """Make the card read-only, read and try to write, make it writable; the number of batches told."""
    queue = DiaryQueue()
    with Diary(path):
        pass  # a writer that closes takes the log away, as after a clean stop
    assert not path.with_name(path.name + "-wal").exists()
    assert remount(path.parent, "ro")
    with closing(Diary(path)) as diary:
        queue.put(batch(number))
        reason = drain(queue, diary)
        assert "read-only" in reason, reason
        assert count(path) == number, "a read-only card cannot be read"
        assert remount(path.parent, "rw")
        queue.drain(diary)
    return number + 1


def count(path: Path) -> int:
    """The openings on the card; each must have its ten sightings."""
    with reading(path) as connection:
        found = len(openings(connection))
        assert sum(1 for _ in sightings(connection, 0, 4e9)) == 10 * found
    return found


def main() -> int:
    card = Path(sys.argv[1])
    mount = ["mount", "-t", "tmpfs", "-o", f"size={CARD_BYTES}", "none", str(card)]
    if subprocess.run(mount, check=False).returncode != 0:
        return NO_MOUNT
    path = card / "diary.sqlite"
    told = fill_and_free(path)
    assert count(path) == told
    told = turn_read_only(path, told)
    assert count(path) == told
    print(f"{told} batches told, {told} kept, over a full and a read-only card")
    return 0


if __name__ == "__main__":
    sys.exit(main())
