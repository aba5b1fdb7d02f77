"""The power goes while the diary is written: what the card holds at that moment is all that is left.

The diary stands on a small ext4 file system in an image. At a random moment the writer is stopped and the
image is copied: the copy holds what had reached the "card", and nothing of what the system still kept in
memory. The next life begins with the copy, as after a power cut. Compared as after ``kill -9``: the file is
sound, every acknowledged batch is there whole, and the checkpoint names exactly the last one.

Mounting an image takes root: ``unshare --mount python tests/faults/power_cuts.py DIRECTORY CUTS``.
"""

import json
import os
import random
import select
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.diary_kill import look
from faults.row import Faults, Row, written_by

HERE = Path(__file__).parent
SEED = 6
IMAGE_BYTES = 16 << 20
LONGEST_LIFE_S = 0.3
NO_MOUNT = 77


def while_the_diary_is_written(is_long: bool) -> Row:
    """In a process of its own, whose mounts nobody else sees."""
    if shutil.which("unshare") is None or shutil.which("mkfs.ext4") is None:
        pytest.skip("unshare or mkfs.ext4 is not installed")
    cuts = 200 if is_long else 4
    with tempfile.TemporaryDirectory() as folder:
        command = ["unshare", "--mount", sys.executable, __file__, folder, str(cuts)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode == NO_MOUNT or "unshare failed" in done.stderr:
        pytest.skip("no file system may be mounted here (it takes root)")
    said = json.loads(done.stdout) if done.returncode == 0 else {"why": done.stderr.strip()[-200:]}
    return Row(cuts, said.get("survived", 0), said.get("lost", 0), said.get("written"), said.get("why", ""))


FAULTS: Faults = {"power cuts while the diary is written": while_the_diary_is_written}


@contextmanager
def mounted(image: Path, folder: Path) -> Iterator[None]:
    """The image's file system at ``folder``; its journal is played back, as after a power cut."""
    if subprocess.run(["mount", "-o", "loop", str(image), str(folder)], check=False).returncode != 0:
        sys.exit(NO_MOUNT)
    try:
        yield
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def cut_once(image: Path, card: Path, after: Path, chance: random.Random) -> tuple[int, int]:
    """Let a writer live for a moment, and copy the card; the last number acknowledged, and bytes written."""
    command = [sys.executable, str(HERE / "diary_kill.py"), "--writer", str(card / "diary.sqlite")]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as writer:
        assert writer.stdout is not None
        if chance.random() < 0.9:  # else it may still be making its tables
            select.select([writer.stdout], [], [], 30.0)
        select.select([], [], [], chance.uniform(0.0, LONGEST_LIFE_S))
        writer.send_signal(signal.SIGSTOP)
        os.set_blocking(writer.stdout.fileno(), False)
        said = writer.stdout.read() or b""
        shutil.copyfile(image, after)
        written = written_by(writer.pid)
        writer.kill()
    whole_lines = said.rpartition(b"\n")[0].split()
    return (int(whole_lines[-1]) if whole_lines else 0), written


def main() -> int:
    folder, cuts = Path(sys.argv[1]), int(sys.argv[2])
    image, after, card = folder / "card.img", folder / "after.img", folder / "card"
    card.mkdir()
    image.write_bytes(b"")
    os.truncate(image, IMAGE_BYTES)
    subprocess.run(["mkfs.ext4", "-q", str(image)], check=True)
    chance, written, last = random.Random(SEED), 0, 0
    for cut in range(1, cuts + 1):
        with mounted(image, card):
            acknowledged, bytes_now = cut_once(image, card, after, chance)
        written += bytes_now
        after.replace(image)
        with mounted(image, card):
            fault, last = look(card / "diary.sqlite", max(last, acknowledged))
        if fault:
            print(json.dumps({"survived": cut - 1, "lost": 1, "written": written, "why": fault}))
            return 0
    print(json.dumps({"survived": cuts, "lost": 0, "written": written, "why": f"{last} batches"}))
    return 0


if __name__ == "__main__":
    sys.exit(main())
