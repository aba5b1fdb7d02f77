"""The command ``sentinel``: finds the subcommand, turns errors into one line and an exit code.

0 is success, 1 a failure while running, 2 bad usage or configuration.
"""

import argparse
import os
import signal
import sys
from collections.abc import Sequence

from sentinel import __version__
from sentinel.commands import check, demo, learn, panel, replay, run, schema
from sentinel.errors import SentinelError

COMMANDS = (run, demo, replay, learn, check, panel, schema)


class Parser(argparse.ArgumentParser):
    """Says what was wrong in one line, then how to get help."""

    def error(self, message: str) -> "NoReturn":  # type: ignore[name-defined]  # noqa: F821
        self.exit(2, f"{self.prog}: {message}; see {self.prog} --help\n")


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = Parser(
        prog="sentinel",
        description="Watches the six-metre band so that its operator need not.",
        epilog="example: sentinel demo",
    )
    top.add_argument("--version", action="version", version=f"sentinel {__version__}")
    subcommands = top.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=Parser)
    for command in COMMANDS:
        command.register(subcommands)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    options = parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except SentinelError as error:
        print(f"sentinel: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        return 128 + signal.SIGINT
    except BrokenPipeError:  # the reader, such as head, has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


if __name__ == "__main__":
    sys.exit(main())
