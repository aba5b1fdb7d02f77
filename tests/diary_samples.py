"""Invented rows for the tests of the diary."""

from dataclasses import replace

from sentinel.outputs.diary_rows import (
    Checkpoint,
    DiaryBatch,
    HealthRow,
    NotableRow,
    OpeningRow,
    SightingRow,
    SlotRow,
    Snapshot,
    StateRow,
    Watched,
)
from sentinel.watch.bulletin import Drift, Likelihood, Mode, Notable, Opening, Reflection, State

BAND = "6m"
NOON_S = 1_750_000_000.0 - 1_750_000_000.0 % 86_400 + 43_200
"""12:00 UTC on a day in June 2025."""

OPENING = Opening(
    id="south-east-1",
    began_at_s=NOON_S,
    peak_at_s=NOON_S + 600,
    ended_at_s=None,
    last_at_s=NOON_S + 900,
    bearing_deg=118.5,
    spread_deg=9.25,
    stations=4,
    peak_stations=7,
    total_stations=9,
    locators=("JM76", "JN80", "KM17"),
    nearest_km=1310,
    farthest_km=2050,
    best_snr_db=-3.0,
    mode=Mode.SPORADIC_E,
    likelihoods=(Likelihood(Mode.SPORADIC_E, 0.9, "one hop, in season"), Likelihood(Mode.F2, 0.1, "far")),
    muf_mhz=78.5,
    reflections=(Reflection(44.5, 12.25, "SV1QAB"), Reflection(45.0, 13.0, "9A2QZZ")),
    drift=Drift(290.0, 85.0),
)


def opening(**changes: object) -> Opening:
    """The sample opening with some fields changed."""
    return replace(OPENING, **changes)  # type: ignore[arg-type]


def sighting(at_s: float = NOON_S, call: str = "SV1QAB", **changes: object) -> SightingRow:
    """A sighting of an invented Greek station, with some fields changed."""
    row = SightingRow(at_s, BAND, call, "KM17", 2050.0, 121.5, -12.0, 0.9, 1210.0, "Greece")
    return replace(row, **changes)  # type: ignore[arg-type]


def full_batch(number: int = 0) -> DiaryBatch:
    """One row of every kind; batches of different numbers have no key in common but the replacing ones."""
    at_s = NOON_S + 60 * number
    return DiaryBatch(
        sightings=(sighting(at_s, f"SV{number % 10}QAB"), sighting(at_s + 15, f"SV{number % 10}QAC")),
        slots=(SlotRow(at_s, BAND, 5, 1, 2, 2),),
        states=(StateRow(at_s, BAND, State.OPEN if number % 2 else State.QUIET, f"reason {number}"),),
        openings=(OpeningRow(BAND, opening(id=f"opening-{number}", began_at_s=at_s, last_at_s=at_s + 30)),),
        notables=(NotableRow(BAND, Notable(f"event-{number}", at_s, "new-square", "SV1QAB", "First KM17")),),
        health=(HealthRow(at_s, "broker", False, "no connection"),),
        checkpoints=(Checkpoint("decodes.log", f'{{"offset": {number}}}'),),
        snapshots=(Snapshot(BAND, f'{{"number": {number}}}'),),
        watched=(Watched(BAND, at_s + 59),),
    )
