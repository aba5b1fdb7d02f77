"""The command ``sentinel``: finds the subcommand, turns errors into one line and an exit code.

0 is success, 1 a failure while running, 2 bad usage or configuration.
"""

import argparse
import io
import os
import signal
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import NoReturn

from sentinel import __version__
from sentinel.errors import SentinelError

COMMANDS = ("run", "demo", "replay", "learn", "check", "panel", "diary", "outlook", "schema")
"""Each a module of ``sentinel.commands``. A daemon keeps what it has loaded for years, so only one is."""


class Parser(argparse.ArgumentParser):
    """Says what was wrong in one line, then how to get help."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {_one_line(message)}; see {self.prog} --help\n")


def parser(first_word: str | None = None) -> argparse.ArgumentParser:
    """The command line; of one command alone where ``first_word`` names it."""
    top = Parser(
        prog="sentinel",
        description="Watches the six-metre band so that its operator need not.",
        epilog="example: sentinel demo",
    )
    top.add_argument("--version", action="version", version=f"sentinel {__version__}")
    subcommands = top.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=Parser)
    for name in (first_word,) if first_word in COMMANDS else COMMANDS:
        import_module(f"sentinel.commands.{name}").register(subcommands)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    if isinstance(sys.stdout, io.TextIOWrapper):  # a terminal that knows only ASCII gets ? for what it lacks
        sys.stdout.reconfigure(errors="replace")
    words = sys.argv[1:] if arguments is None else arguments
    options = parser(words[0] if words else None).parse_args(words)
    try:
        code = int(options.run(options))
        sys.stdout.flush()
        return code
    except SentinelError as error:
        return _fail(str(error), error.exit_code)
    except KeyboardInterrupt:
        return 128 + signal.SIGINT
    except BrokenPipeError:  # the reader, such as head, has seen enough
        _drop_output()
        return 0
    except OSError as error:  # outside our power: a full disk below standard output, a device that went
        _drop_output()
        where = f" ({error.filename})" if error.filename else ""
        return _fail(f"the system refused: {error.strerror or error}{where}; mend that and start again", 1)


def _fail(sentence: str, code: int) -> int:
    print(f"sentinel: {_one_line(sentence)}", file=sys.stderr)
    return code


def _one_line(text: str) -> str:
    """No file name and no value breaks the line or reaches the terminal as a control sequence."""
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


def _drop_output() -> None:
    """Lose what is still buffered, so that nothing is tried again when the interpreter ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
