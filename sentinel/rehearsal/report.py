"""What a watch said of a scenario: only what the contract of ``sentinel replay --json`` promises.

So scoring does not care whether the watch was asked in process or through a log and the replay command.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any


@dataclass(frozen=True, slots=True)
class SaidState:
    """The state from ``at_s`` on."""

    at_s: float
    state: str


@dataclass(slots=True)
class SaidOpening:
    """An opening as last reported: at its end, or as it stood when the scenario ended."""

    id: str
    said_at_s: float
    ended_at_s: float | None
    bearing_deg: float
    spread_deg: float
    stations: int
    nearest_km: float
    farthest_km: float
    mode: str


@dataclass(frozen=True, slots=True)
class SaidHeading:
    """One direction of the bulletin at a sampled moment."""

    at_s: float
    bearing_deg: float
    nearest_km: float
    farthest_km: float


@dataclass(slots=True)
class Report:
    """Everything that the watch said."""

    states: list[SaidState] = field(default_factory=list)
    openings: dict[str, SaidOpening] = field(default_factory=dict)
    headings: list[SaidHeading] = field(default_factory=list)


def from_records(records: Iterable[dict[str, Any]]) -> Report:
    """A report from the JSON records of the replay command."""
    report = Report()
    for record in records:
        if record["kind"] == "state":
            report.states.append(SaidState(_seconds(record["at"]), str(record["state"])))
        elif record["kind"] == "opening":
            at_s = _seconds(record["at"])
            said = report.openings.get(str(record["id"]))
            report.openings[str(record["id"])] = SaidOpening(
                id=str(record["id"]),
                said_at_s=said.said_at_s if said else at_s,
                ended_at_s=at_s if record["phase"] == "ended" else None,
                bearing_deg=float(record["bearing_deg"]),
                spread_deg=0.0,
                stations=int(record["stations"]),
                nearest_km=float(record["nearest_km"]),
                farthest_km=float(record["farthest_km"]),
                mode=str(record["mode"]),
            )
    return report


def _seconds(text: object) -> float:
    return datetime.fromisoformat(str(text)).timestamp()
