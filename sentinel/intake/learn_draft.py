"""From columns to a template: each column gets its field, or becomes literal text or a skipped word."""

import re
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from sentinel.intake import learn_clock, learn_numbers
from sentinel.intake.learn_clock import Window
from sentinel.intake.learn_numbers import Numbers, Rivalry
from sentinel.intake.learn_rows import Row, unquoted
from sentinel.intake.unclear import Unclear
from sentinel.trade.message import parse_message

# Fewer lines do not show how columns change; the smallest log to learn from has 20 good ones.
LEAST_ROWS = 12
# A word that stands in most lines, while the lines without it all come from one station: the station's own.
_OWN_LINES = 2
# Columns that touch in fewer lines are damage.
_TOUCHING = 0.05

# Modes as logs name them (ADIF's mode and submode enumerations, an open standard; from memory), with the
# period or the tone spacing that some are written with.
_MODE = re.compile(
    r"FT[48]|FST4W?(-\d{2,4})?|JT(4|9|44|65)[A-H]?2?|JT6M|JTMS|Q65(-\d{2,3}[A-E])?|QRA64[A-E]?|MSK(144|315|441)"
    r"|FSK(441|315)|ISCAT(-[AB])?|WSPR(-?\d{1,2})?|JS8|PI4|T10|CW|SSB|USB|LSB|AM|FM|RTTY(-\d{2})?|B?PSK\d*"
    r"|QPSK\d+|MFSK\d*|OLIVIA.*|THOR\w*|DOMINO\w*|HELL\w*|OPERA|ROS|VARA\w*|PACKET|SSTV|CONTESTI.*|DIGI(TAL)?"
)
_GENERAL_MODE = re.compile(r"SSB|USB|LSB|AM|FM|MFSK|PSK|PACKET|DIGI(TAL)?", re.IGNORECASE)
# what parts columns, and what names them; any other sign could change with the mode
_PUNCTUATION = re.compile(r"""[,;|"'()\[\]{}]*|.*[=:]""")


@dataclass(frozen=True, slots=True)
class Draft:
    """A template with what it was drawn from. ``fields`` maps each field to the texts that it read."""

    template: str
    fields: dict[str, tuple[str, ...]]
    pieces: tuple[str, ...]
    """The template's text for each column, the message in its place."""
    glue: tuple[str, ...]
    """What stands in front of each of ``pieces``."""
    message_at: int
    windows: tuple[Window, ...]
    own_rows: tuple[Row, ...]

    @property
    def has_date(self) -> bool:
        return any(window.guess.has_date for window in self.windows)


class _Sheet:
    """The rows as columns, the message left out."""

    def __init__(self, rows: Sequence[Row], are_cells: bool) -> None:
        self.rows = rows
        self.are_cells = are_cells
        self.split = rows[0].start
        self.columns = [list(texts) for texts in zip(*(row.columns for row in rows), strict=True)]
        glues = zip(*(row.glue for row in rows), strict=True)
        *self.glue, self.message_glue = [_usual_glue(glue) for glue in glues]
        self.senders = [sender_of(row.message) for row in rows]


def _usual_glue(glue: Sequence[str]) -> str:
    """What stands in front of a column; nothing, if full fixed columns sometimes touch."""
    return "" if glue.count("") >= _TOUCHING * len(glue) else Counter(glue).most_common(1)[0][0]


def sender_of(text: str) -> str:
    """The call of the message's sender, empty if it names nobody."""
    sender = parse_message(text).sender
    return sender.text if sender is not None else ""


def draw(rows: Sequence[Row], are_cells: bool, written_s: float | None) -> Draft | Unclear | None:
    """A template for rows that all have the same number of columns; ``None`` if none of them is a time."""
    rows = _alike(rows)
    if len(rows) < LEAST_ROWS:
        return None
    rows, own_rows, marks = _without_own(rows)
    sheet = _Sheet(rows, are_cells)
    windows = learn_clock.choose(sheet.columns, sheet.glue, sheet.split, written_s)
    if isinstance(windows, Unclear):
        return windows
    if not windows:
        return None
    taken = {place for window in windows for place in range(window.first, window.last + 1)}
    mode = _mode_column(sheet, taken)
    numbers = _numbers(sheet, taken if mode is None else taken | {mode})
    roles = learn_numbers.assign(numbers, sheet.senders)
    if isinstance(roles, Rivalry):
        return _unclear(roles, sheet)
    return _Drawing(sheet, windows, roles, numbers, mode, marks, own_rows).draft()


def _alike(rows: Sequence[Row]) -> list[Row]:
    """The rows with the most usual number of columns on both sides of the message."""
    if not rows:
        return []
    usual, _ = Counter(row.sides for row in rows).most_common(1)[0]
    return [row for row in rows if row.sides == usual]


def _without_own(rows: list[Row]) -> tuple[list[Row], tuple[Row, ...], dict[int, str]]:
    """Leave out the station's own transmissions, if a word marks them: literal text then keeps them out.

    Some word differs in a few lines, and those all have one sender while the others have many.
    """
    senders = [sender_of(row.message) for row in rows]
    for place in range(len(rows[0].columns)):
        by_word: dict[str, list[int]] = defaultdict(list)
        for i, row in enumerate(rows):
            by_word[row.columns[place]].append(i)
        if not 2 <= len(by_word) <= 4 or any(word[-1:].isdigit() for word in by_word):
            continue
        usual = max(by_word, key=lambda word: len(by_word[word]))
        others = [i for word, found in by_word.items() if word != usual for i in found]
        own = {senders[i] for i in others}
        heard = {senders[i] for i in by_word[usual]}
        if len(others) >= _OWN_LINES and len(own) == 1 and not own & heard and len(heard) > 2:
            kept = [rows[i] for i in by_word[usual]]
            return kept, tuple(rows[i] for i in others), {place: usual}
    return rows, (), {}


def _numbers(sheet: _Sheet, taken: set[int]) -> dict[int, Numbers]:
    found = {}
    places = places_of([row.message for row in sheet.rows])
    for place, texts in enumerate(sheet.columns):
        column = None if place in taken else learn_numbers.numbers_of(texts)
        if column is None or learn_numbers.follows_places(column, places, sheet.senders):
            continue
        found[place] = column
    return found


def places_of(messages: Sequence[str]) -> list[str | None]:
    """Where each message's sender is, as far as any of its messages says."""
    known = {}
    for message in map(parse_message, messages):
        if message.sender is not None and message.locator is not None:
            known[message.sender.text] = message.locator[:4]
    return [known.get(sender_of(message)) for message in messages]


def _unclear(rivalry: Rivalry, sheet: _Sheet) -> Unclear:
    shown = [
        f"{place + 1 + (place >= sheet.split)} ({', '.join(sheet.columns[place][:3])})"
        for place in sorted(rivalry.columns)
    ]
    return Unclear(f"columns {shown[0]} and {shown[1]} could both be {rivalry.role}, by their values")


def _mode_column(sheet: _Sheet, taken: set[int]) -> int | None:
    found = [p for p, texts in enumerate(sheet.columns) if p not in taken and is_mode(texts)]
    # the radio's own setting, or the family that a mode belongs to, says less than the mode
    return min(found, key=lambda p: _GENERAL_MODE.fullmatch(sheet.columns[p][0]) is not None, default=None)


def is_mode(texts: Sequence[str]) -> bool:
    """True if every text that is there names a mode."""
    known = {text for text in texts if text}
    return bool(known) and all(_MODE.fullmatch(_core(text).upper()) for text in known)


def _core(text: str) -> str:
    return unquoted(text)[1].strip(":<>")


@dataclass(frozen=True)
class _Drawing:
    """Writes the template's text for every column."""

    sheet: _Sheet
    windows: list[Window]
    roles: dict[str, int]
    numbers: dict[int, Numbers]
    mode: int | None
    marks: dict[int, str]
    own_rows: tuple[Row, ...]

    def draft(self) -> Draft:
        sheet = self.sheet
        pieces: list[str] = []
        glue: list[str] = []
        message_at = 0
        for place in range(len(sheet.columns) + 1):
            if place == sheet.split:
                message_at = len(pieces)
                pieces.append(self._message())
                glue.append(sheet.message_glue)
            if place == len(sheet.columns):
                break
            window = next((w for w in self.windows if w.first <= place <= w.last), None)
            if window is None or window.first == place:
                pieces.append(self._piece(place) if window is None else _time_field(window))
                glue.append(sheet.glue[place])
        template = "".join(before + text for before, text in zip(glue, pieces, strict=True)).strip()
        return Draft(
            template,
            self._fields(),
            tuple(pieces),
            tuple(glue),
            message_at,
            tuple(self.windows),
            self.own_rows,
        )

    def _message(self) -> str:
        if not self.sheet.are_cells:
            return "{message}"
        around = Counter(unquoted(row.pieces.texts[row.start])[::2] for row in self.sheet.rows)
        (before, behind), _ = around.most_common(1)[0]
        return _literal(before) + "{message}" + _literal(behind)

    def _piece(self, place: int) -> str:
        texts = self.sheet.columns[place]
        role = next((name for name, column in self.roles.items() if column == place), None)
        if role is not None:
            column = self.numbers[place]
            return _literal(column.before) + f"{{{role}}}" + _literal(column.behind)
        if place in self.marks:
            return _literal(self.marks[place])
        usual, count = Counter(texts).most_common(1)[0]
        if place == self.mode:
            before, _, behind = usual.partition(_core(usual))
            return _literal(before) + "{mode}" + _literal(behind)
        is_constant = count >= 0.97 * len(texts)
        is_sign = not any(mark.isalnum() for mark in usual) and self._touches(place)
        return _literal(usual) if is_constant and (is_sign or _PUNCTUATION.fullmatch(usual)) else "{skip}"

    def _touches(self, place: int) -> bool:
        """True if no blank parts the column from one beside it."""
        sheet = self.sheet
        behind = [*sheet.glue, " "][place + 1] if place + 1 != sheet.split else sheet.message_glue
        return behind == "" or (place > 0 and sheet.glue[place] == "")

    def _fields(self) -> dict[str, tuple[str, ...]]:
        sheet = self.sheet
        found = {
            window.name: tuple(
                "".join(
                    (sheet.glue[place] if place > window.first else "") + sheet.columns[place][i]
                    for place in range(window.first, window.last + 1)
                )
                for i in range(len(sheet.rows))
            )
            for window in self.windows
        }
        found |= {role: tuple(sheet.columns[place]) for role, place in self.roles.items()}
        if self.mode is not None:
            found["mode"] = tuple(sheet.columns[self.mode])
        found["message"] = tuple(row.message for row in sheet.rows)
        return found


def _literal(text: str) -> str:
    return text.replace("{", "{{").replace("}", "}}")


def _time_field(window: Window) -> str:
    written = window.guess.written
    if written == "epoch":
        return "{utc:epoch}"
    before, core, behind = re.fullmatch(r"([^%]*)(%.*%[A-Za-z])([^%]*)", written, re.DOTALL).groups()  # type: ignore[union-attr]
    if behind.strip().upper() in ("Z", "UTC"):
        core, behind = core + behind, ""
    return _literal(before) + f"{{{window.name}:{core}}}" + _literal(behind)
