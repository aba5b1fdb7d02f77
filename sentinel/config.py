"""The operator's TOML file: typed, checked, and turned into the settings that each part takes.

Every mistake is one sentence that names the file, the line, the key, the value and the mend. Relative paths
are relative to the file. Nothing here opens what the paths lead to; ``check_paths`` looks at them.
"""

import os
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    Field,
    PrivateAttr,
    ValidationError,
    model_validator,
)

from sentinel.config_band import BandName, BandSection
from sentinel.config_broker import MqttSection, NeighboursSection
from sentinel.config_faults import KeyedError, name_of, place, sentence, shown_value
from sentinel.config_hardware import ButtonSection, LampsSection, PanelSection
from sentinel.config_page import PageSection
from sentinel.config_types import CallSign, FilePath, Locator, Port, Section, like
from sentinel.errors import ConfigError
from sentinel.intake.layout import Layout
from sentinel.watch.settings import ReceiverSettings, WatchSettings

MOST_SOURCES = 8
MOST_URLS = 4
LARGEST_CONFIG_BYTES = 1 << 20


class StationSection(Section):
    """Where the station is and who it is."""

    locator: Locator
    callsign: CallSign | None = None


class ReceiverSection(Section):
    """How to tell a dead band from a deaf receiver."""

    canaries: tuple[CallSign, ...] = Field(default=(), strict=False)
    canary_silence_min: float = Field(default=20, gt=0, le=1440)
    line_silence_min: float = Field(default=0, ge=0, le=10_080)
    process: str | None = Field(default=None, min_length=1, max_length=64)


SourceName = Annotated[
    str, like(r"[A-Za-z0-9_.-]{1,32}", "must be 1 to 32 letters, digits and _ . - without blanks")
]
Framing = Annotated[
    str, like(r"[5-8][NEOMS](1|1\.5|2)", "must be data bits, parity and stop bits, for instance 8N1")
]
ModeName = Annotated[str, like(r"[A-Za-z0-9-]{1,8}", "must be a mode, for instance FT8")]


class SourceSection(Section):
    """One place that lines come from, and how to read them."""

    kind: Literal["file", "serial", "udp", "pipe"] = "file"
    name: SourceName | None = None
    band: BandName | None = None
    one_band_at_a_time: bool = False
    path: FilePath | None = None
    layout: str | dict[str, dict[str, str]] | list[str | dict[str, dict[str, str]]]
    fields: dict[str, str] | None = None
    host: str = "127.0.0.1"
    port: Port | None = None
    baud: int = Field(default=9600, ge=50, le=4_000_000)
    framing: Framing = "8N1"
    freq_mhz: float | None = Field(default=None, gt=0, lt=10_000)
    mode: ModeName | None = None
    _compiled: Layout | None = PrivateAttr(default=None)

    @model_validator(mode="after")
    def _complete(self) -> "SourceSection":
        if self.kind == "udp":
            if self.port is None:
                raise ValueError('of kind "udp" needs port, for instance port = 52001')
        elif self.path is None:
            raise ValueError(f'of kind "{self.kind}" needs path, for instance path = "decodes.log"')
        if self.one_band_at_a_time and self.band is not None:
            raise KeyedError(
                "one_band_at_a_time", f"does not go with band = '{self.band}'; remove one of them"
            )
        try:
            self._compiled = Layout.compile(self.layout, self.fields, self.mode)
        except ConfigError as error:
            raise KeyedError("layout", f"is wrong: {error}", quotes_value=True) from error
        return self

    @property
    def compiled(self) -> Layout:
        assert self._compiled is not None, "set by the validator"
        return self._compiled


class VerdictSection(Section):
    """What counts as far, and for how long a station counts."""

    far_km: float = Field(default=500, gt=0, le=20_000)
    window_min: float = Field(default=15, ge=1, le=240)


class LogSection(Section):
    """The operator's own log in ADIF."""

    adif: FilePath | None = None


class DiarySection(Section):
    """The diary's file and its bounds."""

    path: FilePath | None = None
    keep_days: int = Field(default=400, ge=1)
    keep_summary_days: int = Field(default=4018, ge=1)
    max_mb: int = Field(default=200, ge=1)


class SpaceWeatherSection(Section):
    """Solar flux and planetary K: public addresses or a file, and how often to look."""

    url: str | list[str] = Field(default_factory=list)
    file: FilePath | None = None
    every_min: float = Field(default=60, ge=15, le=1440)

    @model_validator(mode="after")
    def _complete(self) -> "SpaceWeatherSection":
        if not self.urls and self.file is None:
            raise ValueError('needs url or file, for instance file = "wwv.txt"')
        if len(self.urls) > MOST_URLS:
            raise KeyedError("url", f"must have at most {MOST_URLS} entries")
        from sentinel.intake.web_fetch import url_fault  # loads the library for http, which few need

        for url in self.urls:
            if fault := url_fault(url):
                shown = "an address" if "@" in url else shown_value(url)  # no password in a log
                claim = f"has {shown} that {fault}; write it like https://host/path"
                raise KeyedError("url", claim, quotes_value=True)
        return self

    @property
    def urls(self) -> tuple[str, ...]:
        return (self.url,) if isinstance(self.url, str) else tuple(self.url)


class Config(Section):
    """The whole file. ``source`` is the list of [[source]] tables."""

    station: StationSection
    band: BandSection = BandSection()
    receiver: ReceiverSection = ReceiverSection()
    source: tuple[SourceSection, ...] = Field(default=(), max_length=MOST_SOURCES, strict=False)
    verdict: VerdictSection = VerdictSection()
    log: LogSection = LogSection()
    mqtt: MqttSection | None = None
    neighbours: NeighboursSection | None = None
    diary: DiarySection = DiarySection()
    panel: PanelSection = PanelSection()
    lamps: LampsSection | None = None
    button: ButtonSection | None = None
    page: PageSection | None = None
    space_weather: SpaceWeatherSection | None = None
    _file: Path = PrivateAttr(default=Path())
    _text: str = PrivateAttr(default="")

    @model_validator(mode="after")
    def _every_band_has_a_source(self) -> "Config":
        names = self.band.names
        for index, source in enumerate(self.source):
            if source.band is not None and source.band not in names:
                mend = f"write one of {', '.join(names)}, or add it to also in [band]"
                raise KeyedError(("source", index, "band"), f"is not watched; {mend}")
        fed = {source.band for source in self.source}
        unfed = next((name for name in names if name not in fed), None)
        if self.source and unfed is not None and None not in fed:
            key = "also" if unfed in self.band.also else "name"
            raise KeyedError(
                ("band", key), f"has '{unfed}', which no [[source]] brings; add one", quotes_value=True
            )
        return self

    @property
    def file(self) -> Path:
        return self._file

    def at(self, *steps: str | int) -> str:
        """File, line, key and value, to begin a sentence about what is wrong with the value."""
        value: Any = self
        for step in steps:
            value = value[step] if isinstance(step, int) else getattr(value, step)
        return f"{place(self._file, self._text, steps)}: {name_of(steps)} = {shown_value(value)}"

    def resolve(self, path: str) -> Path:
        """A path of the file, relative to the file's folder."""
        return self._file.parent / Path(path).expanduser()

    def resolve_secret(self, path: str) -> Path:
        """A file that holds a secret: the one that the service manager hands over by its name, else itself.

        systemd puts credentials into ``$CREDENTIALS_DIRECTORY`` (systemd.exec(5)); outside the service, as in
        ``sentinel check``, there are none and the file that they are made from is read.
        """
        file = self.resolve(path)
        handed_over = Path(os.environ.get("CREDENTIALS_DIRECTORY", "")) / file.name
        return handed_over if handed_over.is_absolute() and handed_over.is_file() else file

    def source_name(self, index: int) -> str:
        """The name of the source, its own or made from its kind and place."""
        return self.source[index].name or f"{self.source[index].kind}-{index + 1}"

    def watch_settings(self, band: str | None = None) -> WatchSettings:
        """What the core takes for one of the bands, by default for the main one.

        What [receiver] says of canaries and lines is about the main band: the others are judged by what is
        usual there.
        """
        low_mhz, high_mhz = self.band.limits_mhz(band)
        receiver = ReceiverSettings(
            canaries=frozenset(self.receiver.canaries),
            canary_silence_s=60.0 * self.receiver.canary_silence_min,
            line_silence_s=60.0 * self.receiver.line_silence_min,
        )
        return WatchSettings(
            home_locator=self.station.locator,
            band=band or self.band.name,
            low_mhz=low_mhz,
            high_mhz=high_mhz,
            own_call=self.station.callsign,
            far_km=self.verdict.far_km,
            window_s=60.0 * self.verdict.window_min,
            neighbours_km=(self.neighbours or NeighboursSection()).reach_km,
            receiver=receiver if band in (None, self.band.name) else ReceiverSettings(),
        )

    def all_watch_settings(self) -> tuple[WatchSettings, ...]:
        """The same for every band, the main one first."""
        return tuple(map(self.watch_settings, self.band.names))


def minutes_of_day(hours: str) -> tuple[int, int]:
    """``22:00-07:00`` as minutes of the local day: (1320, 420)."""
    since, until = (int(each[:2]) * 60 + int(each[3:]) for each in hours.split("-"))
    return since, until


def load(file: Path) -> Config:
    """Read and check a configuration. Raises ConfigError."""
    try:
        with file.open("rb") as opened:
            raw = opened.read(LARGEST_CONFIG_BYTES + 1)
    except FileNotFoundError:
        raise ConfigError(f"{file}: there is no such file; name the configuration after --config") from None
    except OSError as error:
        raise ConfigError(f"{file}: cannot be read ({error.strerror}); mend its path or rights") from None
    if len(raw) > LARGEST_CONFIG_BYTES:
        raise ConfigError(f"{file}: is larger than a configuration can be; is this the right file?")
    try:
        text = raw.decode("utf-8-sig").replace("\r\n", "\n")
        table = tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise ConfigError(f"{file}: is not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    except (ValueError, RecursionError) as error:  # beyond its own error: numbers and nests without end
        raise ConfigError(_syntax_fault(file, str(error))) from None
    return parse(table, file, text)


def _syntax_fault(file: Path, message: str) -> str:
    """One sentence from the TOML reader's."""
    found = re.fullmatch(r"(.*) \(at line (\d+), column (\d+)\)", message)
    what, at = (found[1], f"{file}, line {found[2]}, column {found[3]}") if found else (message, str(file))
    return f"{at}: is not TOML: {ascii(what[:1].lower() + what[1:])[1:-1]}; mend it there"


def parse(table: dict[str, Any], file: Path, text: str = "") -> Config:
    """Check a table that was read from ``file``. Raises ConfigError."""
    try:
        config = Config.model_validate(table)
    except ValidationError as error:
        raise ConfigError(sentence(error, Config, file, text)) from None
    config._file, config._text = file.absolute(), text
    return config


def check_paths(config: Config) -> Iterator[str]:
    """One sentence for each path that cannot work, whatever appears later."""
    for index, source in enumerate(config.source):
        if source.kind == "file" and source.path is not None:
            path, at = config.resolve(source.path), config.at("source", index, "path")
            if path.is_dir():
                yield f"{at} is a folder; name the decoder's text file in it"
            elif not path.parent.is_dir():
                yield f"{at}: {_no_folder(path)}"
    for table, broker in (("mqtt", config.mqtt), ("neighbours", config.neighbours)):
        for name in ("password_file", "ca", "cert", "key") if broker is not None else ():
            value = getattr(broker, name)
            find = config.resolve_secret if name == "password_file" else config.resolve
            if value is not None and not find(value).is_file():
                yield f"{config.at(table, name)}: there is no such file; create it"
    for section, name in (("panel", "picture"), ("diary", "path"), ("space_weather", "file")):
        value = getattr(getattr(config, section), name, None)
        if value is not None and not config.resolve(value).parent.is_dir():
            yield f"{config.at(section, name)}: {_no_folder(config.resolve(value))}"


def _no_folder(path: Path) -> str:
    return f"the folder {path.parent} does not exist; create it or mend the path"
