"""An invented decoder, a process of its own: ``python -m sentinel.rehearsal.decoder --out FILE``.

It appends the evening's lines to a real file, slot by slot, each slot's when it is over, as decoders do. The
band's own time runs ``--speed`` times as fast as the clock on the wall; the stamps are the band's time.
"""

import argparse
import sys
import time
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path

from sentinel.rehearsal.evening import DEFAULT_SPEED, LENGTH_S, START_S, evening
from sentinel.rehearsal.habits import SLOT_S
from sentinel.rehearsal.heard import Scenario
from sentinel.rehearsal.logs import PLAIN, render


def slots(scenario: Scenario, layout: str) -> Iterator[tuple[float, str]]:
    """For each slot with decodes: band seconds from the start to the slot's end, and its lines."""
    for at_s, lines in groupby(scenario.heard, key=lambda line: line.at_s):
        text = "".join(render(layout, line) + "\n" for line in lines)
        yield at_s + SLOT_S - scenario.began_s, text


def play(scenario: Scenario, out: Path, speed: float, layout: str = PLAIN) -> None:
    """Write the scenario into ``out`` in compressed time; returns at the scenario's end."""
    began = time.monotonic()
    with out.open("a", encoding="utf-8") as file:
        for due_s, text in slots(scenario, layout):
            _sleep_until(began + due_s / speed)
            file.write(text)
            file.flush()
    _sleep_until(began + (scenario.ended_s - scenario.began_s) / speed)


def _sleep_until(moment: float) -> None:
    time.sleep(max(0.0, moment - time.monotonic()))


def _start_s(text: str) -> float:
    moment = datetime.fromisoformat(text)
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def _speed(text: str) -> float:
    speed = float(text)
    if not 0.0 < speed < 1e6:
        raise argparse.ArgumentTypeError(f"speed {text} is not a number above 0 and below a million")
    return speed


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the invented decoder until the evening is over."""
    parser = argparse.ArgumentParser(
        prog="python -m sentinel.rehearsal.decoder",
        description=f"Write an invented evening of {LENGTH_S // 60} minutes into a file, in compressed time.",
    )
    parser.add_argument("--out", type=Path, required=True, help="the file to append to")
    parser.add_argument("--seed", type=int, default=1, help="which evening (default 1)")
    parser.add_argument(
        "--speed", type=_speed, default=DEFAULT_SPEED, help="band time over clock time (%(default)s)"
    )
    parser.add_argument(
        "--start", type=_start_s, default=START_S, help="band time of the start, ISO 8601, UTC"
    )
    parser.add_argument("--layout", default=PLAIN, help="template of a line")
    options = parser.parse_args(arguments)
    play(evening(options.seed, options.start), options.out, options.speed, options.layout)
    return 0


if __name__ == "__main__":
    sys.exit(main())
