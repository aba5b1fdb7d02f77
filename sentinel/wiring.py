"""From the configuration to running parts: the sources, and how to reach the broker."""

import json
from dataclasses import asdict
from datetime import date
from typing import Literal

from sentinel.config import Config
from sentinel.config_broker import BrokerSection
from sentinel.errors import ConfigError
from sentinel.intake.checkpoint import FileCheckpoint
from sentinel.intake.file_source import FileSource
from sentinel.intake.source import Source
from sentinel.outputs.broker_settings import BrokerSettings

LONGEST_PASSWORD = 1024


def make_source(config: Config, index: int, checkpoint: FileCheckpoint | None = None) -> Source:
    """The source of one [[source]] table, with its library; ``checkpoint`` is where it stood."""
    section, name = config.source[index], config.source_name(index)
    if section.kind == "udp":
        from sentinel.intake.udp_source import UdpSource

        assert section.port is not None, "checked by the configuration"
        return UdpSource(name, section.host, section.port)
    assert section.path is not None, "checked by the configuration"
    path = config.resolve(section.path)
    if section.kind == "serial":
        from sentinel.intake.serial_source import SerialSource

        return SerialSource(name, path, baud=section.baud, framing=section.framing)
    if section.kind == "pipe":
        from sentinel.intake.pipe_source import STANDARD_INPUT, PipeSource

        return PipeSource(name, STANDARD_INPUT if section.path == str(STANDARD_INPUT) else path)
    return FileSource(name, path, checkpoint=checkpoint)


def checkpoint_text(checkpoint: FileCheckpoint, newest_date: date | None) -> str:
    """Where a source stands, and the newest date seen there, for the diary."""
    return json.dumps({**asdict(checkpoint), "date": newest_date.isoformat() if newest_date else None})


def checkpoint_from(text: str) -> tuple[FileCheckpoint | None, date | None]:
    """The other way round; nothing where ``text`` is damaged."""
    try:
        data = json.loads(text)
        newest_date = None if data["date"] is None else date.fromisoformat(data["date"])
        place = FileCheckpoint(
            int(data["device"]),
            int(data["inode"]),
            int(data["offset"]),
            str(data["head_hash"]),
            str(data["tail_hash"]),
        )
    except (ValueError, TypeError, KeyError):
        return None, None
    return place, newest_date


def broker_settings(
    config: Config, node: str, table: Literal["mqtt", "neighbours"] = "mqtt"
) -> BrokerSettings:
    """How to reach the broker of a table. Raises ConfigError for a password that cannot be read."""
    section: BrokerSection | None = getattr(config, table)
    assert section is not None, "only called with that table"

    def path(value: str | None) -> str | None:
        return None if value is None else str(config.resolve(value))

    return BrokerSettings(
        host=section.host,
        node=node,
        port=section.port_number,
        user=section.user,
        password=None if section.password_file is None else _password(config, table, section.password_file),
        tls=section.is_encrypted,
        ca=path(section.ca),
        cert=path(section.cert),
        key=path(section.key),
        table=table,
        client="sentinel" if table == "mqtt" else "sentnet",
    )


def _password(config: Config, table: str, password_file: str) -> str:
    try:
        password = config.resolve_secret(password_file).read_text("utf-8").strip("\r\n")
    except (OSError, UnicodeDecodeError):
        raise ConfigError(
            f"{config.at(table, 'password_file')} cannot be read; mend its path or rights"
        ) from None
    if not 0 < len(password) <= LONGEST_PASSWORD:
        raise ConfigError(
            f"{config.at(table, 'password_file')} holds no password; write it on the first line"
        )
    return password
