"""``sentinel schema``: the JSON Schemas of everything that is published."""

import argparse
import json
import sys

from sentinel.commands.options import Subcommands, add_command
from sentinel.errors import ConfigError


def register(subcommands: Subcommands) -> None:
    command = add_command(
        subcommands, "schema", "print the JSON Schemas of all that is published", "sentinel schema state"
    )
    command.add_argument("name", nargs="?", metavar="NAME", help="only this one")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print one schema, or all of them by name."""
    from sentinel.outputs.wire import schemas

    every = schemas()
    if options.name is not None and options.name not in every:
        raise ConfigError(f"there is no schema {options.name[:40]!a}; known: {', '.join(sorted(every))}")
    json.dump(every if options.name is None else every[options.name], sys.stdout, indent=2, ensure_ascii=True)
    sys.stdout.write("\n")
    return 0
