"""The fields of JSON lines, found by the same signs as columns; the names of the members do not matter."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from sentinel.intake import learn_clock, learn_numbers
from sentinel.intake.json_pointer import escape_token
from sentinel.intake.learn_draft import LEAST_ROWS, is_mode, places_of, sender_of
from sentinel.intake.learn_numbers import Rivalry
from sentinel.intake.unclear import Unclear
from sentinel.trade.message import Kind, parse_message

# A member must stand in so many of the objects with a message to be a field.
_COMMON = 0.5
_DEEPEST = 6
_MOST_MEMBERS = 200


@dataclass(frozen=True, slots=True)
class JsonDraft:
    """The pointers of the fields (and ``utc_format``), and the texts that each field has read."""

    pointers: dict[str, str]
    fields: dict[str, tuple[str, ...]]


def is_json(lines: Sequence[str]) -> bool:
    """True if most lines are JSON objects."""
    return sum(line.startswith("{") and line.endswith("}") for line in lines) > 0.5 * len(lines)


def draw(lines: Sequence[str], written_s: float | None) -> JsonDraft | Unclear | None:
    """Pointers for the fields of the objects that hold a message; ``None`` if there are too few."""
    objects = [members for line in lines if (members := _members(line)) is not None]
    message = _message_pointer(objects)
    if message is None:
        return None
    rows = [members for members in objects if parse_message(_text(members.get(message))).sender is not None]
    if len(rows) < LEAST_ROWS:
        return None
    pointers = [pointer for pointer in _common(rows) if pointer != message]
    columns = {pointer: [_text(members.get(pointer)) for members in rows] for pointer in pointers}
    clock = _clock(columns, written_s)
    if isinstance(clock, Unclear):
        return clock
    if "utc" not in clock:
        return None
    rest = {pointer: texts for pointer, texts in columns.items() if pointer not in clock.values()}
    modes = [pointer for pointer, texts in rest.items() if is_mode(texts)]
    numbers = _numbers({p: texts for p, texts in rest.items() if p not in modes}, rows, message)
    if isinstance(numbers, Unclear):
        return numbers
    found = clock | numbers | ({"mode": modes[0]} if modes else {}) | {"message": message}
    columns[message] = [_text(members[message]) for members in rows]
    fields = {name: tuple(columns[pointer]) for name, pointer in found.items() if pointer in columns}
    return JsonDraft(found, fields)


def _members(line: str) -> dict[str, object] | None:
    try:
        document = json.loads(line, parse_float=str, parse_int=str)
    except (ValueError, RecursionError):
        return None
    return dict(islice(_flat(document, "", 0), _MOST_MEMBERS)) if isinstance(document, dict) else None


def _flat(value: object, pointer: str, depth: int) -> Iterator[tuple[str, object]]:
    if depth > _DEEPEST:
        return
    if isinstance(value, dict):
        for name, member in value.items():
            yield from _flat(member, f"{pointer}/{escape_token(name)}", depth + 1)
    elif isinstance(value, list):
        for i, member in enumerate(value):
            yield from _flat(member, f"{pointer}/{i}", depth + 1)
    else:
        yield pointer, value


def _text(value: object) -> str:
    return value.strip() if isinstance(value, str) else ""


def _common(rows: Sequence[dict[str, object]]) -> list[str]:
    """The members that most rows have, in the order of the first row."""
    every = dict.fromkeys(pointer for members in rows for pointer in members)
    return [
        pointer
        for pointer in every
        if sum(bool(_text(row.get(pointer))) for row in rows) >= _COMMON * len(rows)
    ]


def _message_pointer(objects: Sequence[dict[str, object]]) -> str | None:
    weights: dict[str, float] = {}
    for members in objects:
        for pointer, value in members.items():
            message = parse_message(_text(value))
            if message.sender is not None:
                is_weak = message.kind in (Kind.CALL, Kind.BEACON)
                weights[pointer] = weights.get(pointer, 0.0) + (0.5 if is_weak else 1.0)
    return max(weights, key=lambda pointer: weights[pointer]) if weights else None


def _clock(columns: dict[str, list[str]], written_s: float | None) -> dict[str, str] | Unclear:
    whole = {pointer: texts for pointer, texts in columns.items() if all(texts)}
    pointers = list(whole)
    windows = learn_clock.choose(list(whole.values()), [""] * len(whole), len(whole), written_s, widest=1)
    if isinstance(windows, Unclear):
        return Unclear(_named(windows.reason, pointers))
    found = {}
    for window in windows:
        found[window.name] = pointers[window.first]
        found[f"{window.name}_format"] = window.guess.written
    return found


def _named(reason: str, pointers: Sequence[str]) -> str:
    for i in range(len(pointers), 0, -1):
        reason = reason.replace(f"columns {i} and", f"{pointers[i - 1]} and").replace(
            f"and {i} are", f"and {pointers[i - 1]} are"
        )
    return reason


def _numbers(
    columns: dict[str, list[str]], rows: Sequence[dict[str, object]], message: str
) -> dict[str, str] | Unclear:
    messages = [_text(row[message]) for row in rows]
    places, senders = places_of(messages), [sender_of(text) for text in messages]
    pointers = list(columns)
    found = {}
    for i, pointer in enumerate(pointers):
        column = learn_numbers.numbers_of(columns[pointer])
        if column is None or column.before or not (column.behind.strip() or "dB").isalpha():
            continue  # only a number, with its unit perhaps, can be read through a pointer
        if not learn_numbers.follows_places(column, places, senders):
            found[i] = column
    roles = learn_numbers.assign(found, senders)
    if isinstance(roles, Rivalry):
        first, second = (pointers[place] for place in sorted(roles.columns))
        return Unclear(f"{first} and {second} could both be {roles.role}, by their values")
    return {role: pointers[place] for role, place in roles.items()}
