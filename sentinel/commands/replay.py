"""``sentinel replay``: what the watch would have said of a log, as a timeline or as JSON Lines."""

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from sentinel.commands.options import Subcommands, add_command, add_config, utc_time
from sentinel.errors import ConfigError

PROGRESS_BYTES = 4 << 20
"""Logs shorter than this are read in about a second: no bar for them."""


def register(subcommands: Subcommands) -> None:
    command = add_command(
        subcommands,
        "replay",
        "say what the watch would have said of one or more logs",
        "sentinel replay night.log --config sentinel.toml --until 2026-06-15T06:00:00Z",
    )
    command.add_argument("logs", nargs="+", type=Path, metavar="LOG", help="a log; - is standard input")
    add_config(command)
    command.add_argument("--json", action="store_true", help="print JSON Lines")
    command.add_argument("--until", type=utc_time, metavar="ISO", help="let time pass up to then (UTC)")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Replay the logs, printing as it goes."""
    from sentinel.commands.replaying import play_one, play_several, source_name
    from sentinel.commands.timeline_view import JsonView, TextView, View
    from sentinel.config import load
    from sentinel.intake.log_reader import LogReader, Tally

    config = load(options.config)
    if not config.source:
        raise ConfigError(f"{config.file}: [[source]] is missing; add one with the layout of the log")
    view: View = JsonView(sys.stdout) if options.json else TextView(sys.stdout)
    tally = Tally()
    with _progress(options.logs) as advance:
        layouts = [source.compiled for source in config.source]
        name_of = partial(source_name, config)
        decodes = LogReader(layouts, tally, options.until, advance, name_of).read(options.logs)
        play = play_one if len(config.band.names) == 1 else play_several
        far_calls = play(config, decodes, options.until, view)
    view.summary(
        lines=tally.lines,
        decodes=tally.decodes,
        rejected=tally.rejected,
        far_stations=len(far_calls),
    )
    return 0


@contextmanager
def _progress(logs: Sequence[Path]) -> Iterator[Callable[[int], None]]:
    """A bar on standard error while a long log is read and somebody is looking."""
    from sentinel.intake.log_reader import size_of

    total = size_of(logs)
    if total is None or total < PROGRESS_BYTES or not sys.stderr.isatty():
        yield lambda _bytes: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("reading", total=total)
        yield lambda read: progress.advance(task, read)
