"""What is wrong with a configuration, in one sentence: file, line, key, value and the mend."""

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, time
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

Steps = Sequence[str | int]
"""The way to a value: ``("source", 0, "path")``."""

LONGEST_VALUE = 60
# Steps that the library adds for the members of a union.
_UNION_STEP = re.compile(r"^(dict|list|str|tuple)(\[.*\])?$")
# The lists of tables: ``[[source]]`` once for each source.
_TABLE_LISTS = (("source",), ("neighbours", "feed"))
_MENDS = {
    "station": 'add [station] with for instance locator = "FN84ab"',
    "locator": 'add for instance locator = "FN84ab"',
    "layout": "let sentinel learn LOG write it",
    "topic": 'add for instance topic = "spots/6m/#"',
    "call": 'add the JSON pointer to the call sign that was heard, for instance call = "/call"',
    "receiver": 'add the JSON pointer to who heard it, for instance receiver = "/receiver/call"',
    "receiver_locator": 'add the JSON pointer to the receiver\'s locator, for instance "/receiver/locator"',
}
# The library's codes for a fault, as a claim with its mend; {} is what the code is about.
_CLAIMS: Mapping[str, str] = {
    "string_type": "must be text in quotes",
    "float_type": "must be a number, without quotes",
    "int_type": "must be a whole number, without quotes",
    "bool_type": "must be true or false, without quotes",
    "finite_number": "must be a finite number",
    "greater_than": "must be above {gt:g}",
    "greater_than_equal": "must be {ge:g} or more",
    "less_than": "must be below {lt:g}",
    "less_than_equal": "must be {le:g} or less",
    "literal_error": "must be {expected}",
    "string_too_short": "must not be empty",
    "string_too_long": "must have at most {max_length} characters",
    "dict_type": "must be a table of keys and values",
    "list_type": "must be a list in [ ]",
    "tuple_type": "must be a list in [ ]",
    "too_long": "must have at most {max_length} entries",
}


class KeyedError(ValueError):
    """A fault that only the whole table shows, but that lies with one of its keys, or with the one at the end
    of several steps. ``quotes_value``: the claim does, so the value is not shown again."""

    def __init__(self, key: str | Steps, claim: str, *, quotes_value: bool = False) -> None:
        super().__init__(claim)
        self.steps: Steps = (key,) if isinstance(key, str) else key
        self.quotes_value = quotes_value


def sentence(error: ValidationError, model: type[BaseModel], file: Path, text: str) -> str:
    """The fault to mend first: an unknown key often explains a missing one."""
    faults = error.errors(include_url=False)
    fault = next((f for f in faults if f["type"] == "extra_forbidden"), faults[0])
    steps = [step for step in fault["loc"] if isinstance(step, int) or not _UNION_STEP.match(step)]
    value = fault["input"]
    raised = fault.get("ctx", {}).get("error")
    if isinstance(raised, KeyedError):
        steps.extend(raised.steps)
        value = None if raised.quotes_value else _value_at(value, raised.steps)
    at = place(file, text, steps)
    if fault["type"] == "extra_forbidden":
        return f"{at}: {_unknown(model, steps)}"
    if fault["type"] == "missing":
        return f"{at}: {name_of(steps)} is missing; {_MENDS.get(str(steps[-1]), 'add it')}"
    shown = "" if value is None or isinstance(value, dict | list) else f" = {shown_value(value)}"
    return f"{at}: {name_of(steps)}{shown} {_claim(fault, steps)}"


def _value_at(value: Any, steps: Steps) -> Any:
    """What the table holds there, None where that cannot be told."""
    for step in steps:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            return None
    return value


def place(file: Path, text: str, steps: Steps) -> str:
    """The file, with the line that sets the value where the text tells it."""
    line = line_of(steps, text)
    return f"{file}, line {line}" if line else str(file)


def line_of(steps: Steps, text: str) -> int | None:
    """The line that sets the value, else that of its table; None when neither is there."""
    best, best_length = None, 0
    for number, path in _lines_with_paths(text):
        length = min(len(path), len(steps))
        if length > best_length and path[:length] == list(steps[:length]):
            best, best_length = number, length
    return best


def name_of(steps: Steps) -> str:
    """The value as the file writes it: ``[[source]] 2 path``, entries counted from 1."""
    if not steps:
        return "the file"
    rest = list(steps[1:])
    name = f"[{steps[0]}]"
    if path := _table_list(steps):
        rest = list(steps[len(path) :])
        number = f" {int(rest.pop(0)) + 1}" if rest else ""
        name = f"[[{'.'.join(path)}]]{number}"
    for step in rest:
        name += f", entry {step + 1}" if isinstance(step, int) else f" {step}"
    return name


def _table_list(steps: Steps) -> tuple[str, ...] | None:
    """The list of tables that the value lies in, or is."""
    return next((path for path in _TABLE_LISTS if tuple(steps[: len(path)]) == path), None)


def shown_value(value: object) -> str:
    """The value in ASCII, cut to a length that a terminal shows."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, date | time):
        return value.isoformat()
    try:
        shown = ascii(value)
    except (ValueError, RecursionError):  # a number of many thousand digits, lists in lists without end
        return "(too long to show)"
    return shown if len(shown) <= LONGEST_VALUE else shown[: LONGEST_VALUE - 3] + "..."


def _claim(fault: Mapping[str, Any], steps: Steps) -> str:
    kind = fault["type"]
    if kind == "value_error":
        return str(fault["ctx"]["error"])
    path = _table_list(steps)
    if kind == "model_type":
        header = f"[[{'.'.join(path)}]]" if path else f"[{'.'.join(map(str, steps))}]"
        return f"must be a table: write {header} on a line of its own"
    if kind == "tuple_type" and path and len(steps) == len(path):
        return f"must be a list of tables: write [[{'.'.join(path)}]] with two brackets"
    if kind in _CLAIMS:
        return _CLAIMS[kind].format_map(fault.get("ctx", {}))
    message = str(fault["msg"])
    return f"is wrong: {message[:1].lower()}{message[1:]}"


def _unknown(model: type[BaseModel], steps: Steps) -> str:
    known = _known_keys(model, steps[:-1])
    near = difflib.get_close_matches(str(steps[-1]), known, n=1, cutoff=0.5)
    mend = f"did you mean {near[0]}?" if near else f"known there: {', '.join(known)}"
    where = f"in {name_of(steps[:-1])}" if len(steps) > 1 else "at the top"
    return f"unknown key {shown_value(steps[-1])} {where}; {mend}"


def _known_keys(model: type[BaseModel], path: Steps) -> list[str]:
    for key in path:
        if isinstance(key, str):
            model = next(_models_in(model.model_fields[key].annotation))
    return list(model.model_fields)


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in getattr(annotation, "__args__", ()):
        yield from _models_in(part)


def _lines_with_paths(text: str) -> Iterator[tuple[int, list[str | int]]]:
    """Each line that opens a table or sets a key, with the way there. Only plain lines, as people write."""
    table: list[str | int] = []
    counts: dict[tuple[str, ...], int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        if header := re.match(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]", line):
            table = list(_keys(header[2]))
            if path := _table_list(table):
                if header[1] == "[[" and len(table) == len(path):
                    counts[path] = counts.get(path, 0) + 1
                if path in counts:  # [source.fields] belongs to the newest [[source]]
                    table.insert(len(path), counts[path] - 1)
            yield number, table
        elif setting := re.match(r"\s*([^=#]+?)\s*=", line):
            yield number, [*table, *_keys(setting[1])]


def _keys(dotted: str) -> Iterator[str]:
    return (key.strip().strip("\"'") for key in dotted.split("."))
