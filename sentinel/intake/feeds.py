"""Reports by others that A was heard by B, read from JSON by pointers (RFC 6901): whatever shape they have.

Pure mapping, one ``FeedMap`` a topic. What a message does not have where the pointers say is told with the
message's shape, its keys and kinds without its values, so that the operator sees at once where to point.
Whether a report is believed is decided in ``feed_listener``.
"""

import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import NoReturn

from sentinel.errors import ConfigError
from sentinel.intake.json_pointer import MISSING, parse_pointer, resolve
from sentinel.intake.time_format import TimeFormat, compile_format, iso_time
from sentinel.intake.time_values import DAY_S
from sentinel.trade.callsign import Call, parse_call
from sentinel.trade.locator import is_locator, normalize

UNITS_MHZ: Mapping[str, float] = {"Hz": 1e-6, "kHz": 1e-3, "MHz": 1.0}
NEEDED = ("call", "receiver", "receiver_locator")
VALUES = ("call", "locator", "receiver", "receiver_locator", "frequency", "snr", "time")
"""What can be pointed to."""
MOST_REPORTS = 100
"""Reports in one message; with 16 kB there is hardly room for more."""
LONGEST_TOPIC = 200
_SHAPE_DEPTH, _SHAPE_KEYS, _SHAPE_KEY_LENGTH, _SHAPE_LENGTH = 4, 12, 24, 300
# A receiver may be a listener's station with no call sign, so any short name will do.
_RECEIVER = re.compile(r"[A-Z0-9][A-Z0-9/_-]{1,19}")
_NUMBER = re.compile(r"[+-]?[0-9]{1,20}(?:\.[0-9]{0,20})?")


@dataclass(frozen=True, slots=True)
class Spot:
    """One report: ``call`` was heard by ``receiver``. None stands for what it does not say.

    ``at_s`` is seconds since 1970 UTC, ``snr_db`` as the report counts it.
    """

    call: Call
    locator: str | None
    receiver: str
    receiver_locator: str
    freq_mhz: float | None
    snr_db: float | None
    at_s: float | None


@dataclass(frozen=True, slots=True)
class MapFault:
    """Why a message is no report: which key of the feed, what is wrong, and the message's shape."""

    key: str
    claim: str
    shape: str

    def __str__(self) -> str:
        return f"{self.key} {self.claim}; the message is {self.shape}"


class FeedMap:
    """Where in a message each value stands. Raises ConfigError for what is no pointer, unit or format."""

    def __init__(
        self,
        topic_filter: str,
        pointers: Mapping[str, str],
        *,
        each: str | None = None,
        frequency_unit: str = "MHz",
        time_format: str | None = None,
    ) -> None:
        self.topic_filter = check_topic_filter(topic_filter)
        self._pointers = {name: parse_pointer(pointers[name]) for name in VALUES if name in pointers}
        self._written = dict(pointers) | ({} if each is None else {"each": each})
        self._each = None if each is None else parse_pointer(each)
        self._unit_mhz = UNITS_MHZ[frequency_unit]
        self._clock: TimeFormat = iso_time() if time_format is None else compile_format(time_format)
        if missing := [name for name in NEEDED if name not in pointers]:
            raise ConfigError(f"{missing[0]} is missing; write the JSON pointer to it")

    def read(self, payload: bytes, now_s: float) -> Iterator[Spot | MapFault]:
        """The reports of one message, or what is wrong. ``now_s`` completes a time without its day."""
        try:
            document = json.loads(payload, parse_constant=_refuse_constant)
        except (ValueError, RecursionError):
            yield MapFault("topic", "has a message that is not JSON", f"{len(payload)} bytes")
            return
        reports = document if self._each is None else resolve(document, self._each)
        if self._each is None:
            yield from self._read_one(document, now_s)
        elif isinstance(reports, list):
            for report in reports[:MOST_REPORTS]:
                yield from self._read_one(report, now_s)
        else:
            yield self._fault("each", reports, "a list", document)

    def _read_one(self, report: object, now_s: float) -> Iterator[Spot | MapFault]:
        values = {name: resolve(report, tokens) for name, tokens in self._pointers.items()}
        call = parse_call(_text(values["call"]))
        receiver = _text(values["receiver"]).upper()
        receiver_locator, locator = _locator(values["receiver_locator"]), _locator(values.get("locator"))
        freq, snr_db = _number(values.get("frequency")), _number(values.get("snr"))
        at_s = self._time(values.get("time"), now_s)
        needed = (
            ("call", call, "a call sign"),
            ("receiver", _RECEIVER.fullmatch(receiver), "the receiver's call sign"),
            ("receiver_locator", receiver_locator, "a locator"),
            ("frequency", freq, "a number"),
            ("time", at_s, "a time"),
        )
        for name, found, kind in needed:
            if found is None and name in values:
                yield self._fault(name, values[name], kind, report)
                return
        for name, found, kind in (("locator", locator, "a locator"), ("snr", snr_db, "a number")):
            if found is None and name in values and values[name] not in (None, ""):
                yield self._fault(name, values[name], kind, report)  # the report is of use without it
        assert call is not None, "as needed"
        assert receiver_locator is not None, "as needed"
        freq_mhz = None if freq is None else freq * self._unit_mhz
        yield Spot(call, locator, receiver, receiver_locator, freq_mhz, snr_db, at_s)

    def _time(self, value: object, now_s: float) -> float | None:
        text = str(value) if isinstance(value, int | float) and not isinstance(value, bool) else _text(value)
        reading = self._clock.read(text, int(now_s // DAY_S)) if len(text) <= 40 else None
        if reading is None or reading.second_of_day is None:
            return None
        if reading.day is not None:
            return reading.day * DAY_S + reading.second_of_day
        days = round((now_s - reading.second_of_day) / DAY_S)  # a time of day: the nearest one
        return days * DAY_S + reading.second_of_day

    def _fault(self, name: str, value: object, needed: str, document: object) -> MapFault:
        leads = "nowhere" if value is MISSING else f"to {_kind(value)}"
        claim = f'= "{self._written[name]}" leads {leads}'
        if value is not MISSING:
            claim += f" and not to {needed}"
        return MapFault(name, claim, shape_of(document))


def check_topic_filter(text: str) -> str:
    """``text``, if one may subscribe to it (MQTT 5.0, section 4.7). Raises ConfigError.

    A lone ``#`` would bring everything that the broker has.
    """
    levels = text.split("/")
    is_fit = text.isprintable() and 0 < len(text) <= LONGEST_TOPIC and not text.startswith(("$", "#"))
    for number, level in enumerate(levels):
        if ("#" in level and (level != "#" or number < len(levels) - 1)) or ("+" in level and level != "+"):
            is_fit = False
    if not is_fit:
        raise ConfigError(
            "is no topic to subscribe to; write its levels, with + for any one level and # for the rest, "
            "for instance spots/6m/#"
        )
    return text


def matches(topic_filter: str, topic: str) -> bool:
    """Whether a topic is one of those that the filter asks for."""
    wanted, levels = topic_filter.split("/"), topic.split("/")
    if wanted[-1] == "#":
        wanted = wanted[:-1]
        levels = levels[: len(wanted)]
    return len(wanted) == len(levels) and all(
        w in ("+", level) for w, level in zip(wanted, levels, strict=True)
    )


def shape_of(document: object, depth: int = _SHAPE_DEPTH) -> str:
    """Keys and kinds of a JSON document without its values: ``{"by": {"loc": text}, "f": number}``."""
    shape = _shape(document, depth)
    return shape if len(shape) <= _SHAPE_LENGTH else shape[: _SHAPE_LENGTH - 3] + "..."


def _shape(document: object, depth: int) -> str:
    if not isinstance(document, dict | list):
        return _kind(document).removeprefix("a ")
    is_object = isinstance(document, dict)
    if depth == 0:
        return "{...}" if is_object else "[...]"
    if isinstance(document, dict):
        shown = [f"{_key(key)}: {_shape(document[key], depth - 1)}" for key in list(document)[:_SHAPE_KEYS]]
        more = ["..."] if len(document) > _SHAPE_KEYS else []
    else:
        shown = [_shape(entry, depth - 1) for entry in document[:1]]
        more = [f"... {len(document)} in all"] if len(document) > 1 else []
    inside = ", ".join([*shown, *more])
    return f"{{{inside}}}" if is_object else f"[{inside}]"


def _key(key: str) -> str:
    return json.dumps(key if len(key) <= _SHAPE_KEY_LENGTH else key[: _SHAPE_KEY_LENGTH - 1] + "~")


def _kind(value: object) -> str:
    if isinstance(value, bool):
        return "true or false"
    if value is None:
        return "null"
    if isinstance(value, int | float):
        return "a number"
    if isinstance(value, dict):
        return "an object"
    return "a list" if isinstance(value, list) else "text"


def _text(value: object) -> str:
    return value.strip() if isinstance(value, str) else ""


def _locator(value: object) -> str | None:
    text = _text(value)
    while len(text) >= 4 and not is_locator(text):
        text = text[:-2]  # some write more characters than we read; the first pairs still hold
    return normalize(text) if is_locator(text) else None


def _number(value: object) -> float | None:
    if isinstance(value, str) and _NUMBER.fullmatch(value.strip()):
        value = float(value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no JSON")
