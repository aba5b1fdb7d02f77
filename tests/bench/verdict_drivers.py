"""Two ways to ask the watch about a scenario: in process, or by the replay command on a text log."""

import json
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import groupby, pairwise
from pathlib import Path

from sentinel.rehearsal.heard import Heard, Scenario, Settings
from sentinel.rehearsal.logs import LAYOUTS, reading_layout, write_log
from sentinel.rehearsal.report import Report, SaidHeading, SaidOpening, SaidState, from_records
from sentinel.trade.message import parse_message
from sentinel.watch.bulletin import Bulletin, Opening
from sentinel.watch.changes import Change, OpeningChanged, Phase, StateChanged
from sentinel.watch.decode import Decode
from sentinel.watch.settings import ReceiverSettings, WatchSettings
from sentinel.watch.watch import Watch

HEADING_EVERY_S = 300


def by_core(scenario: Scenario, with_headings: bool = True) -> Report:
    """Feed the decodes straight to the core, sampling the headings every five minutes."""
    watch = Watch(watch_settings(scenario))
    report = Report()
    sample_s = scenario.began_s + HEADING_EVERY_S
    watch.tick(scenario.began_s)
    for line in scenario.heard:
        while with_headings and sample_s < line.at_s:
            _note(report, watch.tick(sample_s))
            report.headings += _headings(watch.bulletin(sample_s)) if report.states else []
            sample_s += HEADING_EVERY_S
        _note(report, watch.feed(decode_of(line)))
    _note(report, watch.tick(scenario.ended_s))
    for opening in watch.bulletin(scenario.ended_s).openings:
        _keep(report, opening, scenario.ended_s)
    return report


def stations_said(scenario: Scenario) -> Iterator[str]:
    """Every five minutes the stations that the bulletin shows, one a line, for people."""
    watch = Watch(watch_settings(scenario))
    watch.tick(scenario.began_s)
    sample_s = scenario.began_s + HEADING_EVERY_S
    for line in scenario.heard:
        while sample_s < line.at_s:
            watch.tick(sample_s)
            for one in watch.bulletin(sample_s).stations:
                clock = datetime.fromtimestamp(sample_s, UTC).strftime("%H:%M:%S")
                where = (
                    f"{one.locator} by {one.location_source} {one.distance_km:.0f} km {one.bearing_deg:.0f}"
                )
                why = "; ".join(one.reasons)
                yield f"{clock} {one.call} {where}, {one.slots} slots, trust {one.trust:.3f}: {why}"
            sample_s += HEADING_EVERY_S
        watch.feed(decode_of(line))


@dataclass(slots=True)
class Credit:
    """Whom the watch believed in one scenario: true stations by the number of decodes it took (3: more)."""

    kind: str
    seed: int
    true_stations: int = 0
    believed_at: dict[int, int] = field(default_factory=dict)
    false_calls: int = 0
    false_believed: int = 0
    least_trust: float = 1.0
    examples: list[str] = field(default_factory=list)


def credit_given(scenario: Scenario) -> Credit:
    """Look at the bulletin after every slot with far or false decodes; slow, for the trust figures only."""
    watch = Watch(watch_settings(scenario))
    watch.tick(scenario.began_s)
    heard: dict[str, list[int]] = {}
    believed: dict[str, int] = {}
    false: set[str] = set()
    credit = Credit(scenario.kind, scenario.seed)
    for at_s, lines in groupby(scenario.heard, key=lambda line: line.at_s):
        is_telling = False
        for line in lines:
            watch.feed(decode_of(line))
            sender = parse_message(line.message, line.mode).sender
            if line.is_far and line.station is not None:
                heard.setdefault(line.station.call, []).append(at_s)
                is_telling = True
            elif not line.is_true and sender is not None:
                false.add(sender.text)
                is_telling = True
        if not is_telling:
            continue
        watch.tick(at_s + 1.0)
        for station in watch.bulletin(at_s + 1.0).stations:
            believed.setdefault(station.call, len(heard.get(station.call, ())))
            if station.call in heard:
                credit.least_trust = min(credit.least_trust, station.trust)
    for call, times in heard.items():
        if any(0 < later - earlier <= 600 for earlier, later in pairwise(times)):
            credit.true_stations += 1
            took = min(3, believed.get(call, 3))
            credit.believed_at[took] = credit.believed_at.get(took, 0) + 1
    false -= set(heard)
    credit.examples = sorted(false & set(believed))
    credit.false_calls, credit.false_believed = len(false), len(credit.examples)
    return credit


def by_replay(scenario: Scenario) -> Report:
    """Write a text log in an invented layout that changes with the seed, and run the replay command on it."""
    layout = LAYOUTS[scenario.seed % len(LAYOUTS)]
    with tempfile.TemporaryDirectory() as directory:
        log, config = Path(directory, "decodes.log"), Path(directory, "sentinel.toml")
        write_log(log, scenario.heard, layout)
        config.write_text(toml_of(scenario, log, reading_layout(layout)), "utf-8")
        until = datetime.fromtimestamp(scenario.ended_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        command = [sys.executable, "-m", "sentinel", "replay", str(log), "--config", str(config), "--json"]
        done = subprocess.run([*command, "--until", until], check=True, capture_output=True, text=True)
    return from_records(json.loads(line) for line in done.stdout.splitlines())


def watch_settings(scenario: Scenario) -> WatchSettings:
    """The core's settings for a scenario's home and receiver."""
    settings = scenario.settings
    receiver = ReceiverSettings(
        frozenset(settings.canaries), settings.canary_silence_min * 60.0, settings.line_silence_min * 60.0
    )
    return WatchSettings(scenario.home.locator, own_call=settings.callsign or None, receiver=receiver)


def decode_of(line: Heard) -> Decode:
    """The decode that a layout would have read from the line."""
    return Decode(
        at_s=float(line.at_s),
        message=line.message,
        snr_db=float(line.snr_db),
        dt_s=line.dt_s,
        audio_hz=float(line.audio_hz),
        mode=line.mode,
    )


def toml_of(scenario: Scenario, log: Path, layout: str) -> str:
    """A configuration file for the replay of a scenario."""
    settings: Settings = scenario.settings
    return "\n".join(
        [
            "[station]",
            f"locator = {json.dumps(scenario.home.locator)}",
            f"callsign = {json.dumps(settings.callsign)}",
            "[band]",
            'name = "6m"',
            "[receiver]",
            f"canaries = {json.dumps(list(settings.canaries))}",
            f"canary_silence_min = {settings.canary_silence_min}",
            f"line_silence_min = {settings.line_silence_min}",
            "[[source]]",
            'kind = "file"',
            f"path = {json.dumps(str(log))}",
            f"layout = {json.dumps(layout)}",
            "",
        ]
    )


def _note(report: Report, changes: Iterable[Change]) -> None:
    for change in changes:
        if isinstance(change, StateChanged):
            report.states.append(SaidState(change.at_s, change.bulletin.state.value))
        elif isinstance(change, OpeningChanged):
            _keep(report, change.opening, change.at_s, change.at_s if change.phase is Phase.ENDED else None)


def _keep(report: Report, opening: Opening, at_s: float, ended_at_s: float | None = None) -> None:
    said = report.openings.get(opening.id)
    report.openings[opening.id] = SaidOpening(
        id=opening.id,
        said_at_s=said.said_at_s if said else at_s,
        ended_at_s=ended_at_s,
        bearing_deg=opening.bearing_deg,
        spread_deg=opening.spread_deg,
        stations=opening.total_stations,
        nearest_km=opening.nearest_km,
        farthest_km=opening.farthest_km,
        mode=opening.mode.value,
    )


def _headings(bulletin: Bulletin) -> Iterator[SaidHeading]:
    for heading in bulletin.headings:
        yield SaidHeading(bulletin.at_s, heading.bearing_deg, heading.nearest_km, heading.farthest_km)
