"""How a golden log is written: its lines, its configuration, and what must be true of its replay."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sentinel.rehearsal.heard import Heard, Home
from sentinel.rehearsal.logs import PLAIN, reading_layout, render

HALIFAX = Home("Halifax", "FN84ab", "VE1QZZ")


@dataclass(frozen=True, slots=True)
class GoldenLog:
    """One log by name. ``layouts`` is a TOML value; ``until_s`` lets silence pass behind the last line."""

    name: str
    must: str
    about: str
    log: bytes
    config: str
    until_s: float | None = None

    def write(self, folder: Path) -> None:
        """Write the log and the configuration."""
        until = "" if self.until_s is None else f" --until {iso(self.until_s)}"
        command = f"sentinel replay {self.name}.log --config {self.name}.toml --json{until}"
        head = "".join(f"# {line}\n" for line in (command, f"Must: {self.must}.", self.about))
        (folder / f"{self.name}.log").write_bytes(self.log)
        (folder / f"{self.name}.toml").write_text(f"{head}\n{self.config}", "utf-8")


def config(layout: str = PLAIN, home: Home = HALIFAX, extra: str = "") -> str:
    """A configuration. ``layout`` is a template, or ``layout = ...`` as TOML, and what follows it."""
    source = layout if layout.startswith("layout =") else f'layout = "{reading_layout(layout)}"'
    station = f'[station]\nlocator = "{home.locator}"\ncallsign = "{home.call}"\n'
    return f'{station}{extra}\n[[source]]\npath = "decodes.log"\n{source}\n'


def text(lines: Iterable[str], end: str = "\n") -> bytes:
    """Lines as the bytes of a file."""
    return "".join(line + end for line in lines).encode("utf-8")


def rendered(heard: Sequence[Heard], layout: str = PLAIN) -> list[str]:
    """The decodes as lines, in their order."""
    return [render(layout, line) for line in heard]


def iso(at_s: float) -> str:
    """Seconds since 1970 as UTC, ISO 8601."""
    return datetime.fromtimestamp(at_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def seconds(iso_text: str) -> float:
    """Seconds since 1970 of a time in UTC."""
    return datetime.fromisoformat(iso_text).replace(tzinfo=UTC).timestamp()
