"""``sentinel check``: prove a configuration before trusting it for years, and say what was not proved."""

import argparse
import secrets
import time
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from sentinel.commands.options import Subcommands, add_command, add_config
from sentinel.config import Config
from sentinel.watch.decode import Decode

if TYPE_CHECKING:
    from sentinel.outputs.broker_link import BrokerLink, LinkHealth

SAMPLES = 3
BROKER_PATIENCE_S = 15.0
"""A broker that knows only MQTT 3.1.1 may keep silent to MQTT 5 for 5 s before the other version is tried."""
FAULT_LASTS_S = 1.5
"""A fault that lasts so long is no trial of a version that the broker does not know."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the report. ``is_good`` None: could not be checked."""

    is_good: bool | None
    text: str


def register(subcommands: Subcommands) -> None:
    command = add_command(
        subcommands,
        "check",
        "prove a configuration: lines, broker, panel",
        "sentinel check --config sentinel.toml",
    )
    add_config(command)
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print what was found; 0 when nothing is wrong, 1 otherwise."""
    from sentinel.config import load

    config = load(options.config)
    is_good = True
    for finding in findings(config):
        mark = {True: "good", False: "WRONG", None: "not checked"}[finding.is_good]
        print(f"{mark:>11}  {finding.text}")
        is_good = is_good and finding.is_good is not False
    return 0 if is_good else 1


def findings(config: Config) -> Iterator[Finding]:
    """Everything that can be said of the configuration, in the order of the file."""
    from sentinel.config import check_paths

    yield Finding(True, f"{config.file} reads as a configuration")
    yield from _station(config)
    for fault in check_paths(config):
        yield Finding(False, fault)
    if not config.source:
        yield Finding(False, "there is no [[source]]; add one with path and layout")
    for index in range(len(config.source)):
        yield from _source(config, index)
    yield from _receiver(config)
    yield from _broker(config)
    yield from _neighbours(config)
    yield from _panel(config)
    yield from _page(config)


def _station(config: Config) -> Iterator[Finding]:
    from sentinel.trade.locator import center_of

    lat_deg, lon_deg = center_of(config.station.locator)
    low_mhz, high_mhz = config.band.limits_mhz()
    yield Finding(
        True,
        f"home is {config.station.locator}: {abs(lat_deg):.2f}° {'NS'[lat_deg < 0]}, "
        f"{abs(lon_deg):.2f}° {'EW'[lon_deg < 0]}; far is {config.verdict.far_km:g} km "
        f"and more; {config.band.name} is {low_mhz:g} to {high_mhz:g} MHz",
    )
    if config.band.also:
        limits = [(band, *config.band.limits_mhz(band)) for band in config.band.also]
        shown = ", ".join(f"{band} ({low:g} to {high:g} MHz)" for band, low, high in limits)
        yield Finding(True, f"also watched: {shown}; [receiver] is about {config.band.name} alone")


def _source(config: Config, index: int) -> Iterator[Finding]:
    section, name = config.source[index], config.source_name(index)
    if section.kind != "file" or section.path is None:
        yield Finding(None, f"source {name}: a {section.kind} source is proved by running it")
        return
    path = config.resolve(section.path)
    if not path.is_file():
        yield Finding(None, f"source {name}: {path} is not there yet, so no line could be read")
        return
    yield from _lines(config, index, name, path)


def _lines(config: Config, index: int, name: str, path: Path) -> Iterator[Finding]:
    from sentinel.intake.file_date import date_in_name
    from sentinel.intake.layout import Header, LayoutReader, Rejection
    from sentinel.intake.log_reader import last_lines

    texts = [text for text in last_lines(path) if text.strip()]
    reader = LayoutReader(config.source[index].compiled, name, date_in_name(path.name))
    if date_in_name(path.name) is None:
        reader.end_near(texts, path.stat().st_mtime)
    read = [(text, reader.read(text)) for text in texts]
    decodes = [(text, found) for text, found in read if isinstance(found, Decode)]
    rejected = [(text, found) for text, found in read if isinstance(found, Rejection)]
    headers = sum(isinstance(found, Header) for _, found in read)
    if not texts:
        yield Finding(None, f"source {name}: {path} is empty, so no line could be read")
        return
    yield Finding(
        bool(decodes),
        f"source {name}: of the last {len(texts)} lines {len(decodes)} are decodes, "
        f"{headers} headers, {len(rejected)} rejected",
    )
    if config.band.also and decodes:
        yield _by_band(config, name, [decode for _, decode in decodes])
    for text, decode in decodes[-SAMPLES:]:
        yield Finding(True, f"  line   {_clean(text)}")
        yield Finding(True, f"  reads  {_as_read(decode, config)}")
    if rejected:
        text, reason = rejected[-1]
        yield Finding(None, f"  rejected: {_clean(text)} ({reason.reason})")


def _by_band(config: Config, name: str, decodes: Sequence[Decode]) -> Finding:
    """To which bands the lines of a source go."""
    from collections import Counter

    from sentinel.band_choice import BandChoice

    choice = BandChoice(config)
    placed = [choice.choose(decode) for decode in decodes]
    unused = sum(not choice.lies_within(band, each) for band, each in placed)
    counts = Counter(band for band, _ in placed)
    counts[config.band.name] -= unused
    shown = ", ".join(f"{counts[band]} on {band}" for band in config.band.names if counts[band])
    beside = f"{unused} on no band that is watched" if unused else ""
    return Finding(
        not unused or None, f"source {name}: {', '.join(part for part in (shown, beside) if part)}"
    )


def _as_read(decode: Decode, config: Config) -> str:
    from sentinel.trade.message import parse_message
    from sentinel.watch.knowledge import Knowledge
    from sentinel.watch.place import Gazetteer

    moment = datetime.fromtimestamp(decode.at_s, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    message = parse_message(decode.message, decode.mode)
    if message.sender is None:
        return f"{moment}, nobody can be named: {message.rejection}"
    snr = "" if decode.snr_db is None else f" at {decode.snr_db:+g} dB"
    if message.sender.base == config.station.callsign:
        return f"{moment}, our own transmission"
    place = Gazetteer(config.station.locator, Knowledge()).locate(message.sender, message.locator)
    if place is None:
        return f"{moment}, heard {message.sender.text}{snr}, place unknown"
    source = "" if place.locator else f", by its prefix within {place.uncertainty_km:.0f} km"
    return (
        f"{moment}, heard {message.sender.text}{snr}, {place.distance_km:.0f} km at "
        f"{place.bearing_deg:.0f}°{source}"
    )


def _receiver(config: Config) -> Iterator[Finding]:
    receiver = config.receiver
    if receiver.canaries:
        yield Finding(
            True,
            f"blind when none of {', '.join(receiver.canaries)} is heard for "
            f"{receiver.canary_silence_min:g} min",
        )
    elif receiver.line_silence_min:
        yield Finding(True, f"blind when no line comes for {receiver.line_silence_min:g} min")
    else:
        yield Finding(
            None,
            "a deaf receiver cannot be told from a dead band: set [receiver] canaries or line_silence_min",
        )


def _broker(config: Config) -> Iterator[Finding]:
    if config.mqtt is None:
        yield Finding(None, "no [mqtt]: nothing is published")
        return
    health = yield from _connection(config, "mqtt")
    if health.is_connected:
        yield Finding(None, "whether the broker lets this user publish on sentinel/v1/... shows when running")


def _neighbours(config: Config) -> Iterator[Finding]:
    section = config.neighbours
    if section is None:
        return
    from sentinel.trade.locator import square_of
    from sentinel.watch.neighbours import squares_within

    squares = squares_within(config.station.locator, section.reach_km)
    told = f"tells neighbours of {square_of(config.station.locator)}, " if section.share else ""
    yield Finding(True, f"{told}listens to {len(squares)} squares within {section.reach_km:g} km")
    health = yield from _connection(config, "neighbours")
    if health.is_connected:
        yield Finding(None, "what neighbours and feeds say, and whether it can be read, shows when running")


def _connection(
    config: Config, table: Literal["mqtt", "neighbours"]
) -> Generator[Finding, None, "LinkHealth"]:
    """Connect and leave again."""
    from sentinel.outputs.broker_link import BrokerLink
    from sentinel.wiring import broker_settings

    node = f"check-{secrets.token_hex(4)}"
    settings = broker_settings(config, node, table)
    link = BrokerLink(settings, birth=None, will=None)
    health = _after_connecting(link)
    link.stop()
    name = "broker" if table == "mqtt" else "neighbours' broker"
    yield Finding(health.is_connected, f"{name} {settings.where}: {health.reason}")
    return health


def _after_connecting(link: "BrokerLink") -> "LinkHealth":
    """How the link is once it is connected, has a fault that lasts, or has taken too long."""
    unknown = link.health().reason
    deadline_s = time.monotonic() + BROKER_PATIENCE_S
    link.start()
    while not link.wait_connected(0.2):
        health = link.health()
        has_fault = health.reason != unknown and health.lasting_s >= FAULT_LASTS_S
        if has_fault or time.monotonic() > deadline_s:
            break
    return link.health()


def _panel(config: Config) -> Iterator[Finding]:
    yield Finding(True, f"the panel's picture has {config.panel.size} pixels")
    wired = [
        name
        for name, is_configured in (
            (f"glass {config.panel.glass}", config.panel.glass not in ("none", "simulated")),
            ("lamps", config.lamps is not None),
            ("a button", config.button is not None),
        )
        if is_configured
    ]
    if wired:
        yield Finding(None, f"{', '.join(wired)}: only running shows whether the wires are right")
    else:
        yield Finding(None, "no glass, lamps or button are configured, so none was looked for")


def _page(config: Config) -> Iterator[Finding]:
    if config.page is None:
        return
    from ipaddress import ip_address

    from sentinel.errors import ConfigError
    from sentinel.outputs.page import need_extra

    try:
        need_extra()
    except ConfigError as error:
        yield Finding(False, str(error))
    section = config.page
    where = f"http://{f'[{section.host}]' if ':' in section.host else section.host}:{section.port}/"
    if ip_address(section.host).is_loopback:
        yield Finding(True, f"the status page is shown on {where}, to this computer alone")
        return
    allowed = ", ".join(section.allow) or "every private address"
    yield Finding(True, f"the status page is shown on {where} to {allowed}, with your place and all you hear")


def _clean(text: str) -> str:
    shown = "".join(c if c.isprintable() and c.isascii() else "?" for c in text)
    return shown if len(shown) <= 100 else shown[:97] + "..."
