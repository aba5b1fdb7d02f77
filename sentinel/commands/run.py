"""``sentinel run``: the daemon."""

import argparse
import logging
import signal
import sys
from collections.abc import Callable

from sentinel.commands.options import Subcommands, add_command, add_config
from sentinel.errors import ConfigError


def register(subcommands: Subcommands) -> None:
    command = add_command(
        subcommands, "run", "watch the band until told to stop", "sentinel run --config sentinel.toml --show"
    )
    add_config(command)
    command.add_argument("--show", action="store_true", help="show the panel in this terminal")
    command.add_argument("--verbose", action="store_true", help="log more")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Run until SIGTERM or SIGINT; both are a clean stop and exit 0."""
    _on_stop(sys.exit)  # nothing has begun that would have to be ended
    from sentinel.config import check_paths, load
    from sentinel.daemon import Daemon
    from sentinel.identity import state_directory
    from sentinel.memory import give_back, share_one_arena

    share_one_arena()

    config = load(options.config)
    if not config.source:
        raise ConfigError(f"{config.file}: [[source]] is missing; add one with path and layout")
    for fault in check_paths(config):
        raise ConfigError(fault)
    set_up_log(logging.DEBUG if options.verbose else logging.WARNING if options.show else logging.INFO)
    view = None
    if options.show:
        from sentinel.panel.terminal import TerminalView

        view = TerminalView()
    daemon = Daemon(
        config,
        state_directory(),
        on_change=view.update if view else lambda _bulletin: None,
        on_refresh=view.update if view and sys.stdout.isatty() else None,
    )
    _on_stop(daemon.stop)
    give_back()
    try:
        daemon.run()
    finally:
        if view is not None:
            view.close()
    return 0


def _on_stop(stop: Callable[[], object]) -> None:
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: stop())


def set_up_log(level: int) -> None:
    """Log to standard error, without times where the journal adds its own."""
    import os

    stamp = "" if "JOURNAL_STREAM" in os.environ else "%(asctime)s "
    logging.basicConfig(stream=sys.stderr, level=level, format=stamp + "%(levelname)s %(name)s: %(message)s")
