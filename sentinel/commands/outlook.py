"""``sentinel outlook``: the chance of an opening in the next hours, by mode, why, and where to listen now."""

import argparse
import json
import logging
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from sentinel.commands.options import Subcommands, add_command, add_config, utc_time
from sentinel.errors import ConfigError

if TYPE_CHECKING:
    from sentinel.config import Config
    from sentinel.intake.space_weather_report import SpaceWeatherReport
    from sentinel.watch.advice import Advice
    from sentinel.watch.bulletin import Chance
    from sentinel.watch.record import Record

LATEST_S = 4_102_444_800.0  # 2100
FRESH_S = 900.0
"""Openings that the diary holds live are taken for live so long after their last station."""


def register(subcommands: Subcommands) -> None:
    command = add_command(
        subcommands,
        "outlook",
        "say how likely an opening is in the next hours, why, and where to listen",
        "sentinel outlook --config sentinel.toml",
    )
    add_config(command)
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.add_argument("--at", type=utc_time, metavar="ISO", help="the outlook of then (UTC), not of now")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the outlook from the season, the diary and space weather, as far as they can be had."""
    from sentinel.config import load
    from sentinel.forecast import diary_path, record_at
    from sentinel.identity import state_directory
    from sentinel.outputs.diary_record import RecordReader
    from sentinel.watch.outlook import Outlook

    config = load(options.config)
    at_s: float = time.time() if options.at is None else options.at
    if not 0.0 <= at_s < LATEST_S:
        raise ConfigError("--at lies outside the years 1970 to 2099; the sun's place is known for those")
    state_dir = state_directory()
    diary = diary_path(config, state_dir)
    report = _look_at_sun(config, state_dir, options.at)
    record = record_at(diary, RecordReader(config.band.name), at_s)
    outlook = Outlook(config.station.locator, config.watch_settings().low_mhz)
    chances = outlook.chances(at_s, report.as_of(at_s), record)
    advice = _advice(config, diary, at_s)
    if options.json:
        _print_json(config, at_s, report, chances, advice)
    else:
        _print_text(config, at_s, report, record, chances, advice)
    return 0


def _look_at_sun(config: "Config", state_dir: Path, then_s: float | None) -> "SpaceWeatherReport":
    """Look once, or take what was fetched lately; trouble is said and does not end the command."""
    from sentinel.forecast import space_weather_source
    from sentinel.intake.space_weather_report import SpaceWeatherReport

    source = space_weather_source(config, state_dir, then_s)
    if source is None:
        return SpaceWeatherReport()
    logging.getLogger("sentinel").addHandler(logging.NullHandler())  # what goes wrong is said here
    source.look()
    if source.trouble:
        print(f"sentinel: space weather: {source.trouble}", file=sys.stderr)
    return source.report


def _advice(config: "Config", diary: Path, at_s: float) -> "Sequence[Advice]":
    """Where to listen: along the openings that the diary holds live, else where openings show first."""
    from sentinel.forecast import live_openings_at
    from sentinel.watch.advice import Direction, advise_on

    directions = [
        Direction(o.bearing_deg, o.farthest_km, o.mode, o.stations, o.best_snr_db)
        for o in live_openings_at(diary, config.band.name, at_s - FRESH_S, at_s)
    ]
    return advise_on(directions, config.band.name, config.station.locator)


def _print_json(
    config: "Config",
    at_s: float,
    report: "SpaceWeatherReport",
    chances: "Sequence[Chance]",
    advice: "Sequence[Advice]",
) -> None:
    from sentinel.outputs.pieces import chance_payload
    from sentinel.outputs.values import dump, iso_z

    values = (("flux", report.flux), ("sunspots", report.sunspots), ("kp", report.kp))
    told = {
        "at": iso_z(at_s),
        "band": config.band.name,
        "locator": config.station.locator,
        "space_weather": {
            name: None
            if m is None
            else {"value": m.value, "at": iso_z(m.at_s), "age_s": round(m.age_s(at_s))}
            for name, m in values
        },
        "outlook": [dump(chance_payload(chance)) for chance in chances],
        "listen": [
            {
                "bearing_deg": each.bearing_deg,
                "emission": each.emission.value,
                "freq_mhz": each.freq_mhz,
                "reason": each.reason,
                "source": each.source,
            }
            for each in advice
        ],
    }
    print(json.dumps(told, allow_nan=False))


def _print_text(
    config: "Config",
    at_s: float,
    report: "SpaceWeatherReport",
    record: "Record | None",
    chances: "Sequence[Chance]",
    advice: "Sequence[Advice]",
) -> None:
    from sentinel.intake.space_weather_source import report_in_words
    from sentinel.outputs.values import iso_z
    from sentinel.panel.words import MODE_WORDS
    from sentinel.watch.outlook_words import percent_words

    print(f"{config.band.name} from {config.station.locator}, {iso_z(at_s)}")
    print(f"Sun and field: {report_in_words(report, at_s)}.")
    print(f"Own record: {_record_words(record)}.\n")
    print(f"{'':26}{'1 h':>8}{'6 h':>8}{'24 h':>8}")
    for chance in chances:
        within = (chance.next_1_h, chance.next_6_h, chance.next_24_h)
        cells = "".join(f"{percent_words(share):>8}" for share in within)
        print(f"{MODE_WORDS[chance.mode]:26}{cells}   {chance.reason}")
    if advice:
        print("\nWhere to listen:")
    for each in advice:
        where = "any bearing" if each.bearing_deg is None else f"at {round(each.bearing_deg) % 360:03d}°"
        print(f"  {where:11}  {each.emission.value:4} {each.freq_mhz:.3f} MHz  {each.reason} ({each.source})")


def _record_words(record: "Record | None") -> str:
    if record is None or not record.watched_h:
        return "none yet, so the seasons speak alone"
    openings = sum(count for cells in record.openings.values() for count in cells.values())
    return f"{sum(record.watched_h.values()):,.0f} h watched, {openings:,} openings"
