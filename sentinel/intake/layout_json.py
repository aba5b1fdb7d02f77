"""JSON lines: one object a line, each field found by its RFC 6901 pointer."""

import json
import re
from collections.abc import Mapping
from difflib import get_close_matches
from typing import NoReturn

from sentinel.errors import ConfigError
from sentinel.intake.json_pointer import MISSING, parse_pointer, resolve
from sentinel.intake.layout_template import Field, check_fields
from sentinel.intake.layout_text import FOUND_ORDER, NUMBER_PLACES, Found
from sentinel.intake.time_format import TimeFormat, compile_format, iso_date, iso_time

# a number in a string may have its unit behind it
_WITH_UNIT = re.compile("([+-]?[0-9.]+) ?[A-Za-z]+")
_FORMATS = ("utc_format", "date_format")


class JsonForm:
    """One kind of object. ``fields`` maps field names to pointers, ``utc_format`` to strptime codes."""

    def __init__(self, fields: Mapping[str, str]) -> None:
        try:
            self.pointers = _pointers(fields)
            self.clock = _time_format(fields, "utc") if "utc" in fields else None
            self.calendar = _time_format(fields, "date") if "date" in fields else None
        except ConfigError as error:
            raise ConfigError(f"the fields of the json layout: {error}") from None
        self.utc_format, self.date_format = fields.get("utc_format"), fields.get("date_format")
        self.is_header = "message" not in fields
        self._lookups = [self.pointers.get(name) for name in FOUND_ORDER]
        self._needed = [i for i, name in enumerate(FOUND_ORDER) if name in fields and self._is_needed(name)]

    def match(self, line: str) -> Found | None:
        """The texts of the fields in FOUND_ORDER, or ``None`` if the line is not such an object."""
        if not line.startswith("{"):
            return None
        try:
            # number literals stay text, so that both kinds of layout hand on the same thing
            document = json.loads(line, parse_float=str, parse_int=str, parse_constant=_refuse_constant)
        except (ValueError, RecursionError):
            return None
        found = [None if tokens is None else _text(resolve(document, tokens)) for tokens in self._lookups]
        for i in NUMBER_PLACES:
            if (text := found[i]) and (with_unit := _WITH_UNIT.fullmatch(text)):
                found[i] = with_unit[1]
        return None if any(not found[i] for i in self._needed) else found

    def _is_needed(self, name: str) -> bool:
        return name in ("utc", "message") or (name == "date" and self.is_header)


def _pointers(fields: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    for name in fields:
        if name not in FOUND_ORDER and name not in _FORMATS:
            near = get_close_matches(name, (*FOUND_ORDER, *_FORMATS), 1, 0.4)
            mend = f'did you mean "{near[0]}"?' if near else f"the fields are {', '.join(FOUND_ORDER)}"
            raise ConfigError(f'unknown field "{name}"; {mend}')
    names = [name for name in fields if name not in _FORMATS]
    check_fields([Field(name) for name in names])
    return {name: parse_pointer(fields[name]) for name in names}


def _time_format(fields: Mapping[str, str], name: str) -> TimeFormat:
    written = fields.get(f"{name}_format")
    if written is not None:
        return compile_format(written)
    return iso_time() if name == "utc" else iso_date()


def _text(value: object) -> str | None:
    if isinstance(value, str):
        return value.strip()
    if value is True:  # only a doubt is ever said this way
        return "true"
    if value is None or value is False or value is MISSING:
        return None
    return ""  # an object or a list is no value for a field: it reads as neither number nor text


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no JSON")
