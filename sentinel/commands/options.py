"""Options that several commands share."""

import argparse
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

Subcommands = Any  # argparse keeps the type of add_subparsers' result to itself


def add_command(subcommands: Subcommands, name: str, summary: str, example: str) -> argparse.ArgumentParser:
    """Declare a command with its help and an example."""
    command: argparse.ArgumentParser = subcommands.add_parser(
        name, help=summary, description=summary[:1].upper() + summary[1:] + ".", epilog=f"example: {example}"
    )
    return command


def add_config(command: argparse.ArgumentParser) -> None:
    command.add_argument("--config", type=Path, required=True, metavar="FILE", help="configuration (TOML)")


def utc_time(text: str) -> float:
    """An ISO 8601 time, UTC unless it says otherwise, as seconds since 1970."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text[:40]!a} is no ISO 8601 time; write it like 2026-06-14T20:15:00Z"
        ) from None
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
