"""Draws bulletins into a file, in a process of its own: ``python -m sentinel.panel.picture_file``.

The daemon needs a picture when the state changes, some dozens of times a day. Pillow, its libraries and the
fonts would take 8 MB of its memory all the time; a process that draws and ends takes a third of a second.
"""

import pickle
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

from sentinel.errors import RunError
from sentinel.watch.bulletin import Bulletin

PATIENCE_S = 60.0
"""A Pi Zero under load takes a few seconds."""


class Order(NamedTuple):
    """What to draw, and where to."""

    bulletin: Bulletin
    size: tuple[int, int]
    accent: bool
    path: str


def draw_apart(bulletin: Bulletin, size: tuple[int, int], accent: bool, path: Path) -> None:
    """Have the picture written as a PNG, whole or not at all. Raises RunError."""
    order = pickle.dumps(Order(bulletin, size, accent, str(path)))
    try:
        done = subprocess.run(
            [sys.executable, "-m", "sentinel.panel.picture_file"],
            input=order,
            capture_output=True,
            timeout=PATIENCE_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise RunError(f"the picture could not be drawn: {error}") from None
    if done.returncode != 0:
        last = done.stderr.decode("utf-8", "replace").strip().rpartition("\n")[2]
        raise RunError(last or f"the picture could not be drawn (exit {done.returncode})")


def write_picture(order: Order) -> None:
    """Draw and write. Raises OSError."""
    from sentinel.panel.picture import draw

    path = Path(order.path)
    partial = path.with_name(f".{path.name}.new")
    draw(order.bulletin, order.size, order.accent).save(partial, "PNG")
    partial.replace(path)


def main() -> int:
    """Carry out the order on standard input, which comes from our own daemon."""
    try:
        write_picture(pickle.load(sys.stdin.buffer))
    except OSError as error:
        print(f"the picture cannot be written: {error}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
