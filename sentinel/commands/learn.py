"""``sentinel learn``: infer the layout template from a decoder's log."""

import argparse
import sys
from pathlib import Path

from sentinel.commands.options import Subcommands, add_command
from sentinel.errors import RunError


def register(subcommands: Subcommands) -> None:
    command = add_command(
        subcommands, "learn", "infer the layout template from a decoder's log", "sentinel learn decodes.log"
    )
    command.add_argument("log", type=Path, metavar="LOG", help="a decoder's log; - is standard input")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print ``layout = ...`` on standard output, the evidence on standard error."""
    from sentinel.intake.learn import Refusal, learn
    from sentinel.intake.log_reader import STANDARD_INPUT, first_lines, written_s

    name = None if options.log == STANDARD_INPUT else options.log.name
    found = learn(first_lines(options.log), name, written_s(options.log))
    if isinstance(found, Refusal):
        raise RunError(f"{options.log}: {found.reason}")
    for line in found.evidence_lines():
        print(line, file=sys.stderr)
    print(found.toml_line)
    return 0
