"""The tables of the configuration for brokers: our own, and the one that neighbours share."""

import ipaddress
from collections.abc import Callable
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr, model_validator

from sentinel.config_faults import KeyedError
from sentinel.config_types import FilePath, HoursOfDay, Port, Section
from sentinel.errors import ConfigError
from sentinel.intake.feeds import VALUES, FeedMap, check_topic_filter
from sentinel.intake.json_pointer import parse_pointer
from sentinel.intake.time_format import compile_format

MOST_FEEDS = 8
LONGEST_REACH_KM = 500.0
PLAIN_PORT, TLS_PORT = 1883, 8883


class BrokerSection(Section):
    """How to reach a broker, and as whom."""

    host: str = Field(default="127.0.0.1", min_length=1)
    port: Port | None = None
    user: str | None = None
    password_file: FilePath | None = None
    tls: bool | None = None
    ca: FilePath | None = None
    cert: FilePath | None = None
    key: FilePath | None = None

    @model_validator(mode="after")
    def _pairs(self) -> "BrokerSection":
        if (self.cert is None) != (self.key is None):
            raise ValueError("needs both cert and key, or neither")
        if not self.is_encrypted and (self.ca or self.cert):
            raise ValueError("names certificates but has tls = false; set tls = true")
        return self

    @property
    def is_encrypted(self) -> bool:
        """Whether TLS is used."""
        return bool(self.tls)

    @property
    def port_number(self) -> int:
        """The port, by default the usual one."""
        return self.port or (TLS_PORT if self.is_encrypted else PLAIN_PORT)


class MqttSection(BrokerSection):
    """The broker to publish on. Without this table nothing is published."""

    tls: bool = False
    discovery: bool = True
    quiet_hours: HoursOfDay | None = None


class FeedSection(Section):
    """Reports by others on a topic of the shared broker, and where in them each value stands."""

    topic: str
    call: str
    locator: str | None = None
    receiver: str
    receiver_locator: str
    frequency: str | None = None
    frequency_unit: Literal["Hz", "kHz", "MHz"] = "MHz"
    snr: str | None = None
    time: str | None = None
    time_format: str | None = None
    each: str | None = None
    _compiled: FeedMap | None = PrivateAttr(default=None)

    @model_validator(mode="after")
    def _complete(self) -> "FeedSection":
        try:
            check_topic_filter(self.topic)
        except ConfigError as error:
            raise KeyedError("topic", str(error)) from error
        pointers = {name: text for name in VALUES if (text := getattr(self, name)) is not None}
        for name, text in {**pointers, "each": self.each or ""}.items():
            _check(name, parse_pointer, text)
        if self.time_format is not None:
            _check("time_format", compile_format, self.time_format)
        self._compiled = FeedMap(
            self.topic,
            pointers,
            each=self.each,
            frequency_unit=self.frequency_unit,
            time_format=self.time_format,
        )
        return self

    @property
    def compiled(self) -> FeedMap:
        assert self._compiled is not None, "set by the validator"
        return self._compiled


class NeighboursSection(BrokerSection):
    """The broker that neighbours share. Encrypted by default, unless it runs on this computer."""

    reach_km: float = Field(default=300, ge=10, le=LONGEST_REACH_KM)
    share: bool = True
    feed: Annotated[tuple[FeedSection, ...], Field(max_length=MOST_FEEDS, strict=False)] = ()

    @property
    def is_encrypted(self) -> bool:
        """Whether TLS is used: unless told otherwise, wherever the network is."""
        if self.tls is not None:
            return self.tls
        return bool(self.ca or self.cert) or not _is_this_computer(self.host)


def _check(key: str, read: Callable[[str], object], text: str) -> None:
    """A fault of one key is told as such."""
    try:
        read(text)
    except ConfigError as error:
        raise KeyedError(key, f"is wrong: {error}", quotes_value=True) from error


def _is_this_computer(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"
