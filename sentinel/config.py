"""The operator's TOML file: typed, checked, and turned into the settings that each part takes.

Every mistake is one sentence that names the file, the line, the key, the value and the mend. Relative paths
are relative to the file. Nothing here opens what the paths lead to; ``check_paths`` looks at them.
"""

import difflib
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    PrivateAttr,
    ValidationError,
    field_validator,
    model_validator,
)
from pydantic.functional_validators import AfterValidator

from sentinel.errors import ConfigError
from sentinel.intake.layout import Layout
from sentinel.trade.bandplan import BANDS, limits_of
from sentinel.trade.callsign import parse_call
from sentinel.trade.locator import normalize
from sentinel.watch.settings import ReceiverSettings, WatchSettings

MOST_SOURCES = 8
LARGEST_CONFIG_BYTES = 1 << 20


def _call(text: str) -> str:
    call = parse_call(text.strip())
    if call is None:
        raise ValueError("is not a call sign; write it as it is sent, for instance VE1QZZ")
    return call.base


CallSign = Annotated[str, AfterValidator(_call)]
Locator = Annotated[str, AfterValidator(normalize)]
Port = Annotated[int, Field(ge=1, le=65_535, strict=True)]


class Section(BaseModel):
    """One table of the file: unknown keys are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class StationSection(Section):
    """Where the station is and who it is."""

    locator: Locator
    callsign: CallSign | None = None


class BandSection(Section):
    """Which band is watched: a name, or its limits in MHz."""

    name: str = "6m"
    low_mhz: float | None = Field(default=None, gt=0, lt=10_000)
    high_mhz: float | None = Field(default=None, gt=0, lt=10_000)

    @field_validator("name")
    @classmethod
    def _plain(cls, name: str) -> str:
        if not re.fullmatch(r"[a-z0-9][a-z0-9.-]{0,15}", name):
            raise ValueError("is no band name; write for instance 6m")
        return name

    @model_validator(mode="after")
    def _limits(self) -> "BandSection":
        if (self.low_mhz is None) != (self.high_mhz is None):
            raise ValueError("needs both low_mhz and high_mhz, or neither")
        if self.low_mhz is not None and self.high_mhz is not None and self.low_mhz >= self.high_mhz:
            raise ValueError("has low_mhz not below high_mhz; swap them")
        if self.low_mhz is None and self.name not in BANDS:
            known = ", ".join(sorted(BANDS))
            raise ValueError(f"name = {self.name!r} is not known ({known}); give low_mhz and high_mhz too")
        return self

    def limits_mhz(self) -> tuple[float, float]:
        if self.low_mhz is not None and self.high_mhz is not None:
            return self.low_mhz, self.high_mhz
        limits = limits_of(self.name)
        assert limits is not None, "the validator let only known names pass"
        return limits.low_mhz, limits.high_mhz


class ReceiverSection(Section):
    """How to tell a dead band from a deaf receiver."""

    canaries: tuple[CallSign, ...] = ()
    canary_silence_min: float = Field(default=20, gt=0, le=1440)
    line_silence_min: float = Field(default=0, ge=0, le=10_080)
    process: str | None = Field(default=None, min_length=1, max_length=64)


class SourceSection(Section):
    """One place that lines come from, and how to read them."""

    kind: Literal["file", "serial", "udp", "pipe"] = "file"
    name: str | None = Field(default=None, pattern=r"^[A-Za-z0-9_.-]{1,32}$")
    path: str | None = Field(default=None, min_length=1)
    layout: str | dict[str, dict[str, str]] | list[str | dict[str, dict[str, str]]]
    fields: dict[str, str] | None = None
    host: str = "127.0.0.1"
    port: Port | None = None
    baud: int = Field(default=9600, ge=50, le=4_000_000)
    framing: str = Field(default="8N1", pattern=r"^[5-8][NEOMS](1|1\.5|2)$")
    freq_mhz: float | None = Field(default=None, gt=0, lt=10_000)
    mode: str | None = Field(default=None, pattern=r"^[A-Za-z0-9-]{1,8}$")
    _compiled: Layout | None = PrivateAttr(default=None)

    @model_validator(mode="after")
    def _complete(self) -> "SourceSection":
        if self.kind == "udp":
            if self.port is None:
                raise ValueError('of kind "udp" needs port, for instance port = 52001')
        elif self.path is None:
            raise ValueError(f'of kind "{self.kind}" needs path, for instance path = "decodes.log"')
        try:
            self._compiled = Layout.compile(self.layout, self.fields)
        except ConfigError as error:
            raise ValueError(f"layout: {error}") from error
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

    adif: str | None = None


class MqttSection(Section):
    """The broker to publish on. Without this table nothing is published."""

    host: str = Field(default="127.0.0.1", min_length=1)
    port: Port | None = None
    user: str | None = None
    password_file: str | None = None
    tls: bool = False
    ca: str | None = None
    cert: str | None = None
    key: str | None = None
    discovery: bool = True

    @model_validator(mode="after")
    def _pairs(self) -> "MqttSection":
        if (self.cert is None) != (self.key is None):
            raise ValueError("needs both cert and key, or neither")
        if not self.tls and (self.ca or self.cert):
            raise ValueError("names certificates but has tls = false; set tls = true")
        return self


class DiarySection(Section):
    """The diary's file and its bounds."""

    path: str | None = None
    keep_days: int = Field(default=3660, ge=1)
    max_mb: int = Field(default=2000, ge=1)


class PanelSection(Section):
    """The panel's picture."""

    size: Literal["250x122", "296x128", "400x300"] = "250x122"
    picture: str | None = None
    accent: bool = False

    @property
    def size_px(self) -> tuple[int, int]:
        width, _, height = self.size.partition("x")
        return int(width), int(height)


class Config(Section):
    """The whole file. ``source`` is the list of [[source]] tables."""

    station: StationSection
    band: BandSection = BandSection()
    receiver: ReceiverSection = ReceiverSection()
    source: tuple[SourceSection, ...] = Field(default=(), max_length=MOST_SOURCES)
    verdict: VerdictSection = VerdictSection()
    log: LogSection = LogSection()
    mqtt: MqttSection | None = None
    diary: DiarySection = DiarySection()
    panel: PanelSection = PanelSection()
    _file: Path = PrivateAttr(default=Path())

    @property
    def file(self) -> Path:
        return self._file

    def resolve(self, path: str) -> Path:
        """A path of the file, relative to the file's folder."""
        return self._file.parent / Path(path).expanduser()

    def source_name(self, index: int) -> str:
        """The name of the source, its own or made from its kind and place."""
        return self.source[index].name or f"{self.source[index].kind}-{index + 1}"

    def watch_settings(self) -> WatchSettings:
        """What the core takes."""
        low_mhz, high_mhz = self.band.limits_mhz()
        receiver = ReceiverSettings(
            canaries=frozenset(self.receiver.canaries),
            canary_silence_s=60.0 * self.receiver.canary_silence_min,
            line_silence_s=60.0 * self.receiver.line_silence_min,
        )
        return WatchSettings(
            home_locator=self.station.locator,
            band=self.band.name,
            low_mhz=low_mhz,
            high_mhz=high_mhz,
            own_call=self.station.callsign,
            far_km=self.verdict.far_km,
            window_s=60.0 * self.verdict.window_min,
            receiver=receiver,
        )


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
        text = raw.decode("utf-8")
        table = tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise ConfigError(f"{file}: is not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(f"{file}: is not TOML: {_lower_first(str(error))}") from None
    return parse(table, file, text)


def parse(table: dict[str, Any], file: Path, text: str = "") -> Config:
    """Check a table that was read from ``file``. Raises ConfigError."""
    try:
        config = Config.model_validate(table)
    except ValidationError as error:
        raise ConfigError(_sentence(error, file, text)) from None
    config._file = file.absolute()
    return config


def check_paths(config: Config) -> Iterator[str]:
    """One sentence for each path that cannot work, whatever appears later."""
    for index, source in enumerate(config.source):
        if source.kind == "file" and source.path is not None:
            path = config.resolve(source.path)
            key = f"[[source]] {index + 1} path = {source.path!r}"
            if path.is_dir():
                yield f"{config.file}: {key} is a folder; name the decoder's text file in it"
            elif not path.parent.is_dir():
                yield f"{config.file}: {key}: {_no_folder(path)}"
    if config.mqtt is not None:
        for name in ("password_file", "ca", "cert", "key"):
            value = getattr(config.mqtt, name)
            if value is not None and not config.resolve(value).is_file():
                yield f"{config.file}: [mqtt] {name} = {value!r}: there is no such file; create it"
    written = (("panel", "picture", config.panel.picture), ("diary", "path", config.diary.path))
    for section, name, value in written:
        if value is not None and not config.resolve(value).parent.is_dir():
            yield f"{config.file}: [{section}] {name} = {value!r}: {_no_folder(config.resolve(value))}"


def _no_folder(path: Path) -> str:
    return f"the folder {path.parent} does not exist; create it or mend the path"


def _sentence(error: ValidationError, file: Path, text: str) -> str:
    first = error.errors(include_url=False)[0]
    steps = [step for step in first["loc"] if not str(step).startswith(("dict[", "list[", "str"))]
    keys = [step for step in steps if isinstance(step, str)]
    where = _where(steps)
    line = _line_of(keys, text)
    at = f"{file}, line {line}" if line else f"{file}"
    kind, value = first["type"], first.get("input")
    if kind == "extra_forbidden":
        return f"{at}: {_unknown(keys)}"
    if kind == "missing":
        return f"{at}: {where} is missing; add it"
    message = re.sub(r"^(Value error|Assertion failed), ", "", first["msg"])
    shown = "" if isinstance(value, dict | Section) else f" = {_shown(value)}"
    return f"{at}: {where}{shown} {_as_claim(kind, message)}"


def _as_claim(kind: str, message: str) -> str:
    if kind == "value_error":
        begins_as_claim = message.startswith(("is ", "has ", "of ", "needs ", "name", "names "))
        return message if begins_as_claim else f"is wrong: {message}"
    return f"is wrong: {_lower_first(message)}"


def _where(steps: list[Any]) -> str:
    if not steps:
        return "the file"
    words = str(steps[0])
    rest = steps[1:]
    table = f"[{words}]"
    if words == "source":
        table = f"[[source]] {rest.pop(0) + 1}" if rest and isinstance(rest[0], int) else "[[source]]"
    key = ".".join(str(step) for step in rest if step != "str")
    return f"{table} {key}".strip()


def _unknown(keys: list[str]) -> str:
    known = _known_keys(keys[:-1])
    near = difflib.get_close_matches(keys[-1], known, n=1, cutoff=0.5)
    table = f"in [{keys[0]}]" if len(keys) > 1 else "at the top"
    mend = f"did you mean {near[0]}?" if near else f"known there: {', '.join(known)}"
    return f"unknown key {ascii(keys[-1])[1:-1]} {table}; {mend}"


def _known_keys(path: list[str]) -> list[str]:
    model: Any = Config
    for key in path:
        field = model.model_fields.get(key)
        if field is None:
            return []
        model = next((m for m in _models_in(field.annotation)), None)
        if model is None:
            return []
    return list(model.model_fields)


def _models_in(annotation: Any) -> Iterator[Any]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in getattr(annotation, "__args__", ()):
        yield from _models_in(part)


def _line_of(keys: list[str], text: str) -> int | None:
    """The line that sets the last key, when it can be told from the text."""
    if not keys or not text:
        return None
    section = ""
    for number, line in enumerate(text.splitlines(), 1):
        if header := re.match(r"\s*\[+\s*([A-Za-z0-9_.\-]+)\s*\]+", line):
            section = header[1]
            if keys == [section]:
                return number
        elif (len(keys) == 1 or section == ".".join(keys[:-1])) and re.match(
            rf"\s*[\"']?{re.escape(keys[-1])}[\"']?\s*=", line
        ):
            return number
    return None


def _shown(value: object) -> str:
    shown = ascii(value)
    return shown if len(shown) <= 60 else shown[:57] + "..."


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]
