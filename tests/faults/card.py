"""The card under the diary: the Nth I/O fails, once, a few times or for good, and it is full or read-only.

The I/O is failed below SQLite, by a library that is preloaded into a process of its own; where no C compiler
is at hand, by the statement. Each time the same three batches are told; whatever fails, in the end the file
must be sound and hold each of their rows once.
"""

import ctypes
import errno
import json
import shutil
import signal
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.evening import Slot, lost_and_doubled, read_to_the_end
from faults.preload import environment
from faults.row import Faults, Row, written, written_by
from running import daemon
from test_diary_faults import BATCHES, expected, offsets, statements_of_a_run
from test_diary_faults import Faults as FailingStatements

from sentinel.outputs.diary import Diary, DiaryUnavailable
from sentinel.outputs.diary_queries import reading, sightings
from sentinel.outputs.diary_queue import DiaryQueue
from sentinel.outputs.diary_rows import DiaryBatch

HERE = Path(__file__).parent
FOR_GOOD = 1_000_000
NO_MOUNT = 77
NAMESPACE = ("unshare", "--user", "--map-root-user", "--mount")
CARD_BYTES = 2 << 20


def is_drained(queue: DiaryQueue, diary: Diary) -> bool:
    try:
        queue.drain(diary)
    except DiaryUnavailable:
        return False
    return True


def lost(path: Path) -> int:
    """Rows that are missing or there twice."""
    due = sorted(row.at_s for batch in BATCHES for row in batch.sightings)
    with reading(path) as connection:
        found = sorted(row.at_s for row in sightings(connection, 0, 4e9))
    return (found != due) + (offsets(path) != expected(len(BATCHES)))


# --- the Nth statement ------------------------------------------------------------------------------


def nth_statement_fails(is_for_ever: bool, is_long: bool) -> Row:
    """The Nth statement fails, and while it does, all after it may; then the card is well again.

    The short form leaves most out: ``test_diary_faults.py`` has them all.
    """
    injected = gone = survived = 0
    with tempfile.TemporaryDirectory() as name, written() as counted:
        folder = Path(name)
        count = statements_of_a_run(folder)
        for nth in range(1, count + 1, 1 if is_long else 7):
            injected += 1
            failing, queue = FailingStatements(nth, is_for_ever), DiaryQueue()
            path = folder / f"{nth}.sqlite"
            with closing(Diary(path, failing.connect)) as diary:
                for batch in BATCHES:
                    queue.put(batch)
                    is_drained(queue, diary)
                failing.fail_at = None
                queue.drain(diary)
            gone += lost(path)
            survived += queue.dropped_rows == 0
    return Row(injected, survived, gone, counted.bytes)


# --- the Nth I/O ------------------------------------------------------------------------------------


class FailingIo:
    """What ``nth_io.c`` offers in a process into which it was preloaded."""

    WORD = "diary.sqlite"

    def __init__(self) -> None:
        self._library = ctypes.CDLL(None)
        self._library.nth_io_count.restype = ctypes.c_long

    def arm(self, first: int, last: int, error: int) -> None:
        word = self.WORD.encode("ascii")
        self._library.nth_io_arm(word, ctypes.c_long(first), ctypes.c_long(last), ctypes.c_int(error))

    def disarm(self) -> None:
        self.arm(0, -1, errno.EIO)

    def count(self) -> int:
        return int(self._library.nth_io_count())


def in_this_process(in_a_row: int, error: int, step: int) -> Row:
    """Each ``step``-th I/O of the story in turn is the first of so many that fail.

    The story is told to a diary that does not exist yet, and to one that holds the first batch already.
    """
    failing, injected, survived, gone, failures = FailingIo(), 0, 0, 0, 0
    with written() as counted:
        for before in (0, 1):
            nth, is_reached = 1, True
            while is_reached:
                with tempfile.TemporaryDirectory() as folder:
                    path = Path(folder) / FailingIo.WORD
                    tell(path, BATCHES[:before])
                    queue = DiaryQueue()
                    with closing(Diary(path)) as diary:
                        failing.arm(nth, nth + in_a_row - 1, error)
                        for batch in BATCHES[before:]:
                            queue.put(batch)
                            failures += not is_drained(queue, diary)
                        is_reached = failing.count() >= nth
                        failing.disarm()
                        queue.drain(diary)
                    injected += is_reached
                    survived += is_reached and not diary.note and not queue.dropped_rows
                    gone += lost(path)
                nth += step
    return Row(injected, survived, gone, counted.bytes, f"{failures} attempts to write failed")


def tell(path: Path, batches: list[DiaryBatch]) -> None:
    """Write these to a card that is well."""
    with closing(Diary(path)) as diary:
        for batch in batches:
            diary.write(batch)


def nth_io_fails(in_a_row: int, error: int, is_long: bool) -> Row:
    """In a process of its own, as the library has to be there from its start."""
    step = 1 if is_long else 11
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            [sys.executable, __file__, "io", str(in_a_row), str(error), str(step)],
            env=environment("nth_io.c", Path(folder)),
            capture_output=True,
            text=True,
            check=False,
        )
    assert done.returncode == 0, done.stderr
    row = Row(**json.loads(done.stdout))
    if not row.injected:
        pytest.skip("SQLite's calls cannot be reached here: it is part of the interpreter")
    return row


# --- a full and a read-only card --------------------------------------------------------------------


def full_and_read_only(is_long: bool) -> Row:
    """``diary_card.py``: batch upon batch until the card is full, room again, read-only, writable again."""
    if shutil.which("unshare") is None:
        pytest.skip("unshare is not installed")
    times, batches = (20 if is_long else 1), 0
    for _ in range(times):
        with tempfile.TemporaryDirectory() as folder:
            done = subprocess.run(
                [*NAMESPACE, sys.executable, str(HERE / "diary_card.py"), folder],
                capture_output=True,
                text=True,
                check=False,
            )
        if done.returncode == NO_MOUNT or "unshare failed" in done.stderr:
            pytest.skip("no file system may be mounted here")
        if done.returncode != 0:
            return Row(2 * times, 0, 1, None, done.stderr.strip()[-200:])
        batches += int(done.stdout.split()[0])
    return Row(2 * times, 2 * times, 0, None, f"{batches:,} batches")


def full_under_the_daemon(is_long: bool) -> Row:
    """The card fills up during an opening; what waits is written once there is room."""
    if shutil.which("unshare") is None:
        pytest.skip("unshare is not installed")
    times = 20 if is_long else 1
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            ["unshare", "--mount", sys.executable, __file__, "daemon", str(times), folder],
            capture_output=True,
            text=True,
            check=False,
        )
    if done.returncode == NO_MOUNT or "unshare failed" in done.stderr:
        pytest.skip("no file system may be mounted here (it takes root)")
    assert done.returncode == 0, done.stderr
    return Row(**json.loads(done.stdout))


def filled(folder: Path, times: int) -> Row:
    """Fill the card so often under a daemon whose state is kept there; each time a stretch of the evening."""
    state = folder / "state"
    state.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={CARD_BYTES}", "none", str(state)]
    if subprocess.run(mount, check=False).returncode != 0:
        sys.exit(NO_MOUNT)
    log, slots, bytes_written, survived = folder / "decodes.log", 0, 0, 0
    log.touch()
    try:
        for _ in range(times):
            with daemon(folder, None) as running:
                running.says("watching 6m")
                fill(state / "filler")
                slots = hear(log, slots, 60)
                running.says("the card is full")
                slots = hear(log, slots, 60)
                survived += running.process.poll() is None
                (state / "filler").unlink()
                bytes_written += written_by(running.process.pid)
                running.stop(signal.SIGTERM)
        bytes_written += read_to_the_end(folder)
        missing, doubled = lost_and_doubled(slots, state / "diary.sqlite")
    finally:
        subprocess.run(["umount", str(state)], check=True)
    return Row(
        times, survived if not doubled else 0, missing, bytes_written, f"{slots} slots, {doubled} doubled"
    )


def fill(filler: Path) -> None:
    """Take all the room that there is."""
    with filler.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(b"\0" * 4096)
        except OSError as error:
            assert error.errno == errno.ENOSPC


def hear(log: Path, first: int, count: int) -> int:
    """Append so many slots; the number of the next one."""
    with log.open("ab") as file:
        file.write(b"".join(Slot(number).text() for number in range(first, first + count)))
    return first + count


def main() -> int:
    what, *given = sys.argv[1:]
    if what == "io":
        row = in_this_process(*map(int, given))
    else:
        row = filled(Path(given[1]), int(given[0]))
    print(json.dumps({name: getattr(row, name) for name in Row.__slots__}))
    return 0


FAULTS: Faults = {
    "the Nth statement of the diary fails, once": lambda is_long: nth_statement_fails(False, is_long),
    "the Nth statement of the diary fails, and all after": lambda is_long: nth_statement_fails(True, is_long),
    "the Nth I/O of the diary fails, once": lambda is_long: nth_io_fails(1, errno.EIO, is_long),
    "the Nth I/O of the diary fails, and all after": lambda is_long: nth_io_fails(
        FOR_GOOD, errno.EIO, is_long
    ),
    "the Nth I/O of the diary finds the card full": lambda is_long: nth_io_fails(
        FOR_GOOD, errno.ENOSPC, is_long
    ),
    "a full, then a read-only card under the diary": full_and_read_only,
    "a full card under the daemon": full_under_the_daemon,
}

if __name__ == "__main__":
    sys.exit(main())
