"""The diary on a failing card: nothing acknowledged is lost, nothing is damaged, and writing resumes.

Model: SQLite's own tests ("How SQLite Is Tested", on I/O errors and crashes) fail the Nth operation once,
then from the Nth on for ever, and cut the power at every point; here the operations are the statements of a
batch.
"""

import random
import resource
import shutil
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from diary_samples import BAND, NOON_S, full_batch, opening, sighting

from sentinel.outputs.diary import UNREADABLE_LOOKS, Diary, DiaryUnavailable
from sentinel.outputs.diary_file import check, connect
from sentinel.outputs.diary_queries import reading, sightings
from sentinel.outputs.diary_queue import FLUSH_ROWS, DiaryQueue
from sentinel.outputs.diary_rows import DiaryBatch, OpeningRow, SlotRow, StateRow, Watched
from sentinel.outputs.diary_schema import PAGE_BYTES
from sentinel.watch.bulletin import State

TESTS = Path(__file__).parent
MOST_STATEMENTS = 400


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "diary.sqlite"


class Faults:
    """Fails the Nth statement of all connections, once or for ever; ``None`` fails none."""

    def __init__(
        self, fail_at: int | None, is_for_ever: bool = False, code: int = sqlite3.SQLITE_IOERR
    ) -> None:
        self.fail_at, self.is_for_ever, self.code = fail_at, is_for_ever, code
        self.count = 0

    def connect(self, path: Path) -> sqlite3.Connection:
        faults = self

        class Faulty(sqlite3.Connection):
            def execute(self, sql: str, *parameters: object) -> sqlite3.Cursor:  # type: ignore[override]
                faults.step(sql)
                return super().execute(sql, *parameters)  # type: ignore[arg-type]

        return sqlite3.connect(path, isolation_level=None, factory=Faulty)

    def step(self, sql: str) -> None:
        self.count += 1
        if self.fail_at is None or sql == "ROLLBACK":
            return
        if self.count == self.fail_at or (self.is_for_ever and self.count > self.fail_at):
            error = sqlite3.OperationalError("injected")
            error.sqlite_errorcode = self.code
            raise error


BATCHES = [full_batch(number) for number in range(3)]


def offsets(path: Path) -> tuple[list[str], str | None]:
    """The openings written, and the checkpoint that must stand for exactly these."""
    with closing(connect(path)) as connection:
        check(connection)
        if connection.execute("PRAGMA user_version").fetchone() == (0,):
            return [], None
        ids = [id_ for (id_,) in connection.execute("SELECT id FROM opening ORDER BY id")]
        row = connection.execute("SELECT value FROM memory WHERE kind = 'checkpoint'").fetchone()
    return ids, row[0] if row else None


def expected(count: int) -> tuple[list[str], str | None]:
    return [f"opening-{n}" for n in range(count)], f'{{"offset": {count - 1}}}' if count else None


def acknowledged(path: Path, faults: Faults) -> int:
    """Write the batches until the first that fails, as a crash would leave it; how many were acknowledged."""
    done = 0
    diary = Diary(path, faults.connect)
    try:
        for batch in BATCHES:
            diary.write(batch)
            done += 1
    except DiaryUnavailable:
        pass
    finally:
        diary.close()
    return done


def statements_of_a_run(tmp_path: Path) -> int:
    faults = Faults(None)
    assert acknowledged(tmp_path / "counted.sqlite", faults) == len(BATCHES)
    return faults.count


@pytest.mark.parametrize("is_for_ever", [False, True], ids=["once", "for-ever"])
def test_a_failure_of_any_statement_loses_no_acknowledged_row(tmp_path: Path, is_for_ever: bool) -> None:
    steps = statements_of_a_run(tmp_path)
    assert 60 < steps < MOST_STATEMENTS
    for fail_at in range(1, steps + 1):
        path = tmp_path / f"{fail_at}.sqlite"
        done = acknowledged(path, Faults(fail_at, is_for_ever))
        assert done < len(BATCHES)
        assert offsets(path) == expected(done), f"statement {fail_at}"


def test_after_a_failure_of_any_statement_writing_resumes_with_nothing_twice(tmp_path: Path) -> None:
    for fail_at in range(1, statements_of_a_run(tmp_path) + 1):
        path = tmp_path / f"{fail_at}.sqlite"
        queue, failures = DiaryQueue(), 0
        with closing(Diary(path, Faults(fail_at).connect)) as diary:
            for batch in BATCHES:
                queue.put(batch)
                try:
                    queue.drain(diary)
                except DiaryUnavailable:
                    failures += 1
            queue.drain(diary)
        assert failures == 1
        assert offsets(path) == expected(len(BATCHES))
        with reading(path) as connection:
            found = [row.at_s for row in sightings(connection, 0, 4e9)]
        assert found == sorted(row.at_s for batch in BATCHES for row in batch.sightings)


@pytest.mark.parametrize("code", [sqlite3.SQLITE_FULL, sqlite3.SQLITE_BUSY], ids=["full", "busy"])
def test_a_failure_that_passes_keeps_the_file_open(path: Path, code: int) -> None:
    opened = []
    faults = Faults(None, code=code)

    def connector(where: Path) -> sqlite3.Connection:
        opened.append(where)
        return faults.connect(where)

    with closing(Diary(path, connector)) as diary:
        diary.write(full_batch(0))
        faults.fail_at = faults.count + 3
        with pytest.raises(DiaryUnavailable):
            diary.write(full_batch(1))
        diary.write(full_batch(1))
    assert len(opened) == 1
    assert offsets(path) == expected(2)


def test_a_sound_diary_that_is_called_malformed_once_is_kept(tmp_path: Path) -> None:
    """So SQLite calls a page that the card fails to read."""
    for fail_at in range(1, 12):
        path = tmp_path / f"{fail_at}.sqlite"
        with closing(Diary(path)) as diary:
            diary.write(full_batch(0))
        faults = Faults(fail_at, code=sqlite3.SQLITE_CORRUPT)
        with closing(Diary(path, faults.connect)) as diary:
            diary.write(full_batch(1))
            assert diary.note == ""
        assert faults.count > 12
        assert offsets(path) == expected(2)
        with reading(path) as connection:
            assert sum(1 for _ in sightings(connection, 0, 4e9)) == 4


def test_a_diary_that_the_card_fails_to_read_is_set_aside_only_after_some_patience(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with closing(Diary(path)) as diary:
        diary.write(full_batch(0))
    spoilt = bytearray(path.read_bytes())
    spoilt[PAGE_BYTES : 3 * PAGE_BYTES] = b"\xff" * (2 * PAGE_BYTES)
    path.write_bytes(spoilt)
    monkeypatch.setattr("sentinel.outputs.diary.is_readable", lambda _path: False)
    with closing(Diary(path)) as diary:
        for _ in range(UNREADABLE_LOOKS - 1):
            with pytest.raises(DiaryUnavailable, match="the card fails to read or write"):
                diary.write(full_batch(1))
            assert path.read_bytes() == spoilt
        diary.write(full_batch(1))
        assert "was damaged" in diary.note
    assert list(path.parent.glob("*.damaged-1"))


def full_at(pages: int) -> Callable[[Path], sqlite3.Connection]:
    def connector(path: Path) -> sqlite3.Connection:
        connection = connect(path)
        connection.execute(f"PRAGMA max_page_count = {pages}")
        return connection

    return connector


def test_a_full_card_is_one_sentence_and_a_kept_diary(path: Path) -> None:
    done = 0
    with closing(Diary(path, full_at(60))) as diary, pytest.raises(DiaryUnavailable) as caught:
        while True:
            diary.write(full_batch(done))
            done += 1
    assert str(path) in str(caught.value)
    assert "the card is full: free some space" in str(caught.value)
    assert done > 5
    ids, checkpoint = offsets(path)
    assert len(ids) == done
    assert checkpoint == f'{{"offset": {done - 1}}}'


@pytest.mark.parametrize(
    ("place", "sentence"),
    [("nowhere/diary.sqlite", "see that its directory exists"), ("", "see that its directory exists")],
    ids=["no directory", "a directory itself"],
)
def test_a_place_that_cannot_hold_a_diary_is_one_sentence(tmp_path: Path, place: str, sentence: str) -> None:
    with pytest.raises(DiaryUnavailable, match=sentence):
        Diary(tmp_path / place).open()


def test_the_diary_takes_up_again_when_its_directory_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "card" / "diary.sqlite"
    queue = DiaryQueue()
    with closing(Diary(path)) as diary:
        for number in range(3):
            queue.put(full_batch(number))
            with pytest.raises(DiaryUnavailable):
                queue.drain(diary)
        assert queue.part().is_well is False
        path.parent.mkdir()
        assert queue.drain(diary) == 3 * full_batch().rows
    assert queue.part().is_well is True
    assert offsets(path) == expected(3)


def test_a_write_that_the_system_refuses_is_one_sentence_and_a_kept_diary(path: Path) -> None:
    queue = DiaryQueue()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with closing(Diary(path)) as diary:
        resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, hard))  # no file of ours may grow beyond
        try:
            with pytest.raises(DiaryUnavailable, match="the card fails to read or write"):
                for number in range(1000):
                    queue.put(full_batch(number))
                    queue.drain(diary)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert number > 5
        assert offsets(path)[1] == f'{{"offset": {number - 1}}}'
        queue.drain(diary)
    assert offsets(path)[1] == f'{{"offset": {number}}}'
    assert len(offsets(path)[0]) == number + 1


def test_a_power_cut_at_any_byte_of_the_log_leaves_whole_batches(path: Path, tmp_path: Path) -> None:
    # What a cut can take in WAL mode is the unsynced end of the log; a sector may come back as junk.
    log, kept = path.with_name(path.name + "-wal"), tmp_path / "kept"
    sizes = []
    with closing(Diary(path)) as diary:
        for number in range(6):
            diary.write(full_batch(number))
            sizes.append(log.stat().st_size)
        shutil.copytree(tmp_path, kept, ignore=lambda _, names: {"kept"} & set(names))
    chance = random.Random(20250615)
    cuts = {chance.randrange(sizes[0], sizes[-1]) for _ in range(40)}
    for cut in sorted(cuts | set(sizes) | {size - 1 for size in sizes}):
        for junk in (b"", chance.randbytes(700)):
            case = tmp_path / f"{cut}-{len(junk)}"
            shutil.copytree(kept, case)
            (case / "diary.sqlite-shm").unlink()
            (case / log.name).write_bytes((kept / log.name).read_bytes()[:cut] + junk)
            with Diary(case / path.name) as diary:
                assert diary.note == ""
            acknowledged = sum(size <= cut for size in sizes)
            assert offsets(case / path.name) == expected(acknowledged), f"cut at byte {cut}"


def run_script(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, capture_output=True, text=True, timeout=120)


def test_a_killed_process_loses_nothing_it_acknowledged() -> None:
    done = run_script(sys.executable, str(TESTS / "faults" / "diary_kill.py"), "--runs", "10")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "10 kills" in done.stdout


def test_a_full_and_then_read_only_file_system_costs_nothing(tmp_path: Path) -> None:
    if shutil.which("unshare") is None:
        pytest.skip("unshare is not installed, so no file system of its own can be mounted")
    done = run_script(
        *("unshare", "--user", "--map-root-user", "--mount"),
        *(sys.executable, str(TESTS / "faults" / "diary_card.py"), str(tmp_path)),
    )
    if done.returncode == 77 or done.stderr.startswith("unshare:"):
        pytest.skip(f"no file system may be mounted here: {done.stderr.strip()}")
    assert done.returncode == 0, done.stdout + done.stderr


class Card:
    """A writer that can be taken out; remembers what was written."""

    def __init__(self) -> None:
        self.is_out = False
        self.written = DiaryBatch()

    def write(self, batch: DiaryBatch) -> None:
        if self.is_out:
            raise DiaryUnavailable("the card is out")
        self.written = self.written.then(batch)


def test_the_queue_keeps_the_order_of_rows_over_an_outage() -> None:
    card, queue = Card(), DiaryQueue()
    for number in range(9):
        card.is_out = 3 <= number < 6
        at_s = NOON_S + number
        queue.put(DiaryBatch(sightings=(sighting(at_s),), watched=(Watched(BAND, at_s),)))
        try:
            queue.drain(card)
        except DiaryUnavailable:
            assert card.is_out
    assert [row.at_s - NOON_S for row in card.written.sightings] == list(range(9))
    assert card.written.watched == (Watched(BAND, NOON_S + 8),)


def test_what_comes_during_a_failing_write_stays_behind_what_was_there() -> None:
    queue, card = DiaryQueue(), Card()

    class Slow:
        def write(self, batch: DiaryBatch) -> None:
            queue.put(DiaryBatch(sightings=(sighting(NOON_S + 1),), watched=(Watched(BAND, NOON_S + 1),)))
            raise DiaryUnavailable("the card came out while writing")

    queue.put(DiaryBatch(sightings=(sighting(NOON_S),), watched=(Watched(BAND, NOON_S),)))
    with pytest.raises(DiaryUnavailable):
        queue.drain(Slow())
    queue.drain(card)
    assert [row.at_s for row in card.written.sightings] == [NOON_S, NOON_S + 1]
    assert card.written.watched == (Watched(BAND, NOON_S + 1),)


def test_a_full_queue_drops_the_oldest_sightings_and_never_an_opening() -> None:
    card, queue = Card(), DiaryQueue(limit_rows=20)
    for number in range(15):
        queue.put(
            DiaryBatch(
                sightings=(sighting(NOON_S + number),),
                slots=(SlotRow(NOON_S + number, BAND, 1, 0, 0, 1),),
                openings=(OpeningRow(BAND, opening(id=str(number))),),
            )
        )
    assert queue.dropped_rows == 3 * 15 - 20
    assert queue.drain(card) == 20
    assert len(card.written.openings) == 15
    assert card.written.sightings == ()
    assert [row.at_s - NOON_S for row in card.written.slots] == list(range(10, 15))


def test_openings_alone_may_exceed_the_bound() -> None:
    card, queue = Card(), DiaryQueue(limit_rows=3)
    for number in range(10):
        queue.put(DiaryBatch(openings=(OpeningRow(BAND, opening(id=str(number))),)))
    queue.drain(card)
    assert (queue.dropped_rows, len(card.written.openings)) == (0, 10)


def test_an_opening_that_changes_during_an_outage_is_written_once_as_it_is_last() -> None:
    card, queue = Card(), DiaryQueue()
    card.is_out = True
    for stations in range(3, 8):
        queue.put(DiaryBatch(openings=(OpeningRow(BAND, opening(stations=stations)),)))
        with pytest.raises(DiaryUnavailable):
            queue.drain(card)
    card.is_out = False
    assert queue.drain(card) == 1
    assert [row.opening.stations for row in card.written.openings] == [7]


def test_the_part_tells_people_of_the_outage_and_of_its_end() -> None:
    card, queue = Card(), DiaryQueue(limit_rows=2)
    assert (queue.part().name, queue.part().is_well) == ("diary", True)
    card.is_out = True
    queue.put(DiaryBatch(sightings=tuple(sighting(NOON_S + n) for n in range(5))))
    with pytest.raises(DiaryUnavailable):
        queue.drain(card)
    assert queue.part().is_well is False
    assert queue.part().note == "the card is out; 2 rows wait; 3 rows lost"
    card.is_out = False
    queue.drain(card)
    assert (queue.part().is_well, queue.part().note) == (True, "3 rows lost")


def test_a_flush_is_due_when_rows_have_gathered_or_at_once_when_the_state_changes() -> None:
    queue = DiaryQueue()
    assert not queue.wait(0)
    queue.put(DiaryBatch(sightings=tuple(sighting(NOON_S + n) for n in range(FLUSH_ROWS - 1))))
    assert not queue.wait(0)
    queue.put(DiaryBatch(sightings=(sighting(NOON_S + FLUSH_ROWS),)))
    assert queue.wait(0)
    queue.drain(Card())
    assert not queue.wait(0)
    queue.put(DiaryBatch(openings=(OpeningRow(BAND, opening()),)))
    assert not queue.wait(0)
    for urgent in (
        DiaryBatch(states=(StateRow(NOON_S, BAND, State.OPEN, "4 stations"),)),
        DiaryBatch(openings=(OpeningRow(BAND, opening(ended_at_s=NOON_S + 900)),)),
        DiaryBatch(notables=full_batch().notables),
    ):
        queue.put(urgent)
        assert queue.wait(0)
        queue.drain(Card())


def test_while_writing_fails_only_time_brings_the_next_attempt() -> None:
    card, queue = Card(), DiaryQueue()
    card.is_out = True
    queue.put(DiaryBatch(sightings=tuple(sighting(NOON_S + n) for n in range(60))))
    with pytest.raises(DiaryUnavailable):
        queue.drain(card)
    queue.put(full_batch())
    assert not queue.wait(0)
    queue.wake()
    assert queue.wait(0)


def test_the_diary_thread_wakes_for_a_state_change_and_for_the_end() -> None:
    queue, card, done = DiaryQueue(), Card(), threading.Event()

    def work() -> None:
        while not done.is_set():
            queue.wait(60)
            queue.drain(card)

    thread = threading.Thread(target=work)
    thread.start()
    queue.put(full_batch())
    done.set()
    queue.wake()
    thread.join(30)
    queue.drain(card)
    assert not thread.is_alive()
    assert card.written.rows == full_batch().rows
