"""From the configuration to running parts: sources, the picture, the broker."""

import secrets
import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from sentinel.config import Config
from sentinel.errors import ConfigError
from sentinel.intake.file_source import FileSource
from sentinel.intake.source import Source
from sentinel.outputs.broker_link import BrokerLink
from sentinel.outputs.broker_settings import BrokerSettings
from sentinel.outputs.mqtt_messages import Topics, status_message, will_message
from sentinel.outputs.publisher import Publisher
from sentinel.outputs.wire import NodeHealth
from sentinel.panel.picture import draw
from sentinel.watch.bulletin import Bulletin, Part
from sentinel.watch.changes import Change
from sentinel.worker import LatestWorker

PLAIN_PORT, TLS_PORT = 1883, 8883
LONGEST_PASSWORD = 1024


def make_source(config: Config, index: int) -> Source:
    """The source of one [[source]] table. Raises ConfigError for a kind that this version cannot read."""
    section, name = config.source[index], config.source_name(index)
    if section.kind == "file" and section.path is not None:
        return FileSource(name, config.resolve(section.path))
    raise ConfigError(f"{config.at('source', index, 'kind')} cannot be read yet; use file")


def broker_settings(config: Config, node: str) -> BrokerSettings:
    """How to reach the broker. Raises ConfigError for a password that cannot be read."""
    section = config.mqtt
    assert section is not None, "only called with [mqtt]"

    def path(value: str | None) -> str | None:
        return None if value is None else str(config.resolve(value))

    return BrokerSettings(
        host=section.host,
        node=node,
        port=section.port or (TLS_PORT if section.tls else PLAIN_PORT),
        user=section.user,
        password=_password(config),
        tls=section.tls,
        ca=path(section.ca),
        cert=path(section.cert),
        key=path(section.key),
    )


def _password(config: Config) -> str | None:
    section = config.mqtt
    assert section is not None
    if section.password_file is None:
        return None
    file = config.resolve(section.password_file)
    try:
        password = file.read_text("utf-8").strip("\r\n")
    except (OSError, UnicodeDecodeError):
        raise ConfigError(
            f"{config.at('mqtt', 'password_file')} cannot be read; mend its path or rights"
        ) from None
    if not 0 < len(password) <= LONGEST_PASSWORD:
        raise ConfigError(
            f"{config.at('mqtt', 'password_file')} holds no password; write it on the first line"
        )
    return password


class PictureOutput:
    """Writes the panel's picture when the state changes, whole or not at all."""

    def __init__(self, config: Config, state_dir: Path) -> None:
        given = config.panel.picture
        self.path = state_dir / "panel.png" if given is None else config.resolve(given)
        self._size, self._accent = config.panel.size_px, config.panel.accent
        self._worker: LatestWorker[Bulletin] = LatestWorker("picture", self._write)

    def put(self, bulletin: Bulletin) -> None:
        self._worker.put(bulletin)

    def stop(self) -> None:
        self._worker.stop()

    def part(self) -> Part:
        return self._worker.part()

    def _write(self, bulletin: Bulletin) -> None:
        partial = self.path.with_name(f".{self.path.name}.new")
        draw(bulletin, self._size, self._accent).save(partial, "PNG")
        partial.replace(self.path)


class BrokerOutput:
    """The link to the home broker and the timing of what goes over it."""

    def __init__(self, link: BrokerLink, publisher: Publisher) -> None:
        self._link = link
        self._publisher = publisher

    @classmethod
    def start(cls, config: Config, node: str) -> "BrokerOutput":
        """Begin to connect in the background. Raises ConfigError for TLS files that cannot be used."""
        topics = Topics(node)
        link = BrokerLink(
            broker_settings(config, node),
            birth=status_message(topics, is_online=True),
            will=will_message(topics),
        )
        link.start()
        return cls(link, Publisher(topics, secrets.token_hex(4), link.publish, time.time))

    def changed(self, band: str, changes: Iterable[Change], bulletin: Bulletin, now_s: float) -> None:
        self._publisher.changed(band, changes, bulletin, now_s)

    def time_passed(
        self, now_s: float, bulletins: Sequence[Bulletin], health: Callable[[], NodeHealth]
    ) -> None:
        self._publisher.time_passed(now_s, bulletins, health)

    def part(self) -> Part:
        health = self._link.health()
        return Part("broker", health.is_connected, health.reason)

    def wait_connected(self, timeout_s: float) -> bool:
        return self._link.wait_connected(timeout_s)

    def dropped_events(self) -> int:
        return self._link.health().dropped_events

    def stop(self) -> None:
        self._link.stop()
