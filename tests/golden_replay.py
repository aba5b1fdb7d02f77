"""The golden replays: a log, its configuration, and what ``sentinel replay --json`` prints of it.

``NAME.toml`` begins with three lines of comment: the command, what must hold however the core
is tuned, and what the log is about. ``tests/tools/make_golden.py`` writes ``NAME.jsonl``.
"""

import contextlib
import io
import json
import shlex
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sentinel import cli

FOLDER = Path(__file__).parent / "golden" / "replay"
UPDATE = "python tests/tools/make_golden.py --update"

Record = dict[str, Any]

CLAIMS: Mapping[str, Callable[[Sequence[Record]], bool]] = {
    "open": lambda records: "open" in _states(records),
    "never open": lambda records: "open" not in _states(records),
    "blind": lambda records: "blind" in _states(records),
    "never blind": lambda records: "blind" not in _states(records),
    "only quiet": lambda records: _states(records) == {"quiet"},
    "stirring by a lower band": lambda records: any(
        record["state"] == "stirring" and "MHz skip of" in record["because"]
        for record in records
        if record["kind"] == "state"
    ),
    "stirring": lambda records: "stirring" in _states(records),
    "open once": lambda records: _told(records).count("open") == 1,
    "opens twice": lambda records: len(_began(records)) == 2,
    "no far station": lambda records: records[-1]["far_stations"] == 0,
    "nothing rejected": lambda records: records[-1]["rejected"] == 0,
    "some rejected": lambda records: 0 < records[-1]["rejected"] < records[-1]["lines"],
    "nothing": lambda records: [record["kind"] for record in records] == ["summary"],
}
"""What a case may promise of its records, in the words of its second line."""


@dataclass(frozen=True, slots=True)
class Case:
    """One golden replay by its name."""

    name: str
    folder: Path = FOLDER

    @property
    def log(self) -> Path:
        return self.folder / f"{self.name}.log"

    @property
    def config(self) -> Path:
        return self.folder / f"{self.name}.toml"

    @property
    def expected(self) -> Path:
        return self.folder / f"{self.name}.jsonl"

    def head(self) -> tuple[str, str, str]:
        """The three lines of comment: command, promise, what it is about."""
        with self.config.open(encoding="utf-8") as file:
            command, must, about = (next(file).removeprefix("# ").rstrip() for _ in range(3))
        return command, must, about

    def arguments(self) -> list[str]:
        """The command's arguments, with paths that hold from anywhere."""
        words = shlex.split(self.head()[0])
        assert words[:2] == ["sentinel", "replay"], f"{self.config}: the first line is no sentinel replay"
        return [str(self.folder / word) if word.startswith(self.name) else word for word in words[1:]]

    def broken_promises(self, records: Sequence[Record]) -> list[str]:
        """The claims of the second line (``Must: open, never blind.``) that do not hold."""
        promise = self.head()[1]
        assert promise.startswith("Must: "), f"{self.config}: the second line does not say what must hold"
        claims = promise.removeprefix("Must: ").rstrip(".").split(", ")
        return [claim for claim in claims if not CLAIMS[claim](records)]


def cases() -> list[Case]:
    """All, by name."""
    return [Case(path.stem) for path in sorted(FOLDER.glob("*.toml"))]


def replayed(case: Case) -> str:
    """What the command prints."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        status = cli.main(case.arguments())
    assert status == 0, f"{case.name}: exit status {status}"
    return out.getvalue()


def records_of(text: str) -> list[Record]:
    return [json.loads(line) for line in text.splitlines()]


def _told(records: Sequence[Record]) -> list[str]:
    return [record["state"] for record in records if record["kind"] == "state"]


def _states(records: Sequence[Record]) -> set[str]:
    return set(_told(records))


def _began(records: Sequence[Record]) -> list[Record]:
    return [record for record in records if record.get("phase") == "began"]


def difference(expected: str, found: str, most_lines: int = 12) -> Iterator[str]:
    """The first records that differ: ``-`` expected, ``+`` found."""
    before, after = expected.splitlines(), found.splitlines()
    shown = 0
    for number in range(max(len(before), len(after))):
        old = before[number] if number < len(before) else None
        new = after[number] if number < len(after) else None
        if old == new:
            continue
        shown += 1
        if shown > most_lines // 2:
            yield "..."
            return
        yield from (f"{mark} {line}" for mark, line in (("-", old), ("+", new)) if line is not None)
