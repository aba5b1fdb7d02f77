"""Decodes to lines by the same layout that reads them: for rehearsals and tests.

``read(compose(decode)) == decode`` for every decode that the layout can say: its numbers as printed, its time
down to the format's last digit.
"""

import json
from datetime import UTC, date, datetime, time

from sentinel.errors import RunError
from sentinel.intake.layout import Form, Layout
from sentinel.intake.layout_json import JsonForm
from sentinel.intake.layout_template import Field, Literal
from sentinel.intake.layout_text import TextForm
from sentinel.intake.time_codes import expand
from sentinel.watch.decode import Decode


def compose(layout: Layout, decode: Decode) -> str:
    """``decode`` as a line of the layout's first form for decodes; RunError if it lacks a value."""
    form = next(form for form in layout.forms if not form.is_header)
    return _json_line(form, decode) if isinstance(form, JsonForm) else _text_line(form, decode)


def compose_header(layout: Layout, day: date) -> str | None:
    """The line that says the date of the lines below it, or ``None`` if the layout has none."""
    form: Form | None = next((form for form in layout.forms if form.is_header), None)
    if form is None:
        return None
    blank = Decode(datetime.combine(day, time(), UTC).timestamp(), "")
    return _json_line(form, blank) if isinstance(form, JsonForm) else _text_line(form, blank)


def _text_line(form: TextForm, decode: Decode) -> str:
    pieces = []
    for part in form.parts:
        if isinstance(part, Literal):
            pieces.append(part.text)
        elif isinstance(part, Field):
            pieces.append(_field_text(part, decode))
        else:
            pieces.append(" ")
    return "".join(pieces).strip()


def _field_text(field: Field, decode: Decode) -> str:
    if field.name == "doubt":
        return (field.argument or "") if decode.has_low_confidence else ""
    if field.name == "skip":
        return "" if field.is_marker else "-"
    if field.name in ("utc", "date"):
        return _time_text(decode.at_s, field.argument, is_date=field.name == "date")
    value = getattr(decode, field.name)
    if value is None:
        raise RunError(f"the layout needs {field.name}, which the decode does not have")
    return value if isinstance(value, str) else _number_text(value)


def _json_line(form: JsonForm, decode: Decode) -> str:
    document: dict[str, object] = {}
    for name, tokens in form.pointers.items():
        value: object
        if name == "doubt":
            value = decode.has_low_confidence
        elif name in ("utc", "date"):
            written = form.utc_format if name == "utc" else form.date_format
            value = _time_text(decode.at_s, written, is_date=name == "date")
        else:
            value = getattr(decode, name)
        place = document
        for token in tokens[:-1]:
            place = place.setdefault(token, {})  # type: ignore[assignment]
        place[tokens[-1] if tokens else ""] = value
    return json.dumps(document)


def _time_text(at_s: float, written: str | None, *, is_date: bool) -> str:
    if written == "epoch":
        return _number_text(at_s)
    at = datetime.fromtimestamp(at_s, UTC)
    if written is not None:
        return at.strftime(expand(written))
    if is_date:
        return at.strftime("%Y-%m-%d")
    return at.strftime("%Y-%m-%dT%H:%M:%S") + (f".{at.microsecond:06d}Z" if at.microsecond else "Z")


def _number_text(value: float) -> str:
    return str(int(value)) if value.is_integer() else repr(value)
