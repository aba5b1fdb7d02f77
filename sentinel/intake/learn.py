"""Infers the layout of a text decoder's log from the log alone.

No format is built in and no name is trusted: the message is found by its grammar, the time by how it runs,
the numbers by their ranges and steps. The lines are cut in every sensible way, each cut gives a draft, every
draft is compiled and made to read the whole log, and the one that reads most wins. Where two readings of the
same columns are equally good the answer is a refusal with the reason.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time

from sentinel.errors import ConfigError
from sentinel.intake import learn_draft, learn_headers, learn_json, learn_markers
from sentinel.intake.file_date import date_in_name
from sentinel.intake.layout import Header, Layout, LayoutReader, LayoutValue
from sentinel.intake.layout_template import NUMBER_FIELDS
from sentinel.intake.learn_draft import Draft
from sentinel.intake.learn_rows import Cut, cuts_of, find_rows, finer_cuts_of
from sentinel.intake.unclear import Unclear
from sentinel.trade.message import parse_message
from sentinel.watch.decode import Decode

# Columns show what they are within some thousand lines.
_MOST_LINES = 5000
# A layout that reads fewer of the lines that hold a message has missed something.
LEAST_SHARE = 0.6


@dataclass(frozen=True, slots=True)
class FieldEvidence:
    """What one field has read: three examples, and the share of the decodes that have it."""

    field: str
    examples: tuple[str, ...]
    share: float


@dataclass(frozen=True, slots=True)
class Learned:
    """A layout that reads the log. ``share`` is the part of the lines that it explains, headers left out."""

    value: LayoutValue
    toml_line: str
    evidence: tuple[FieldEvidence, ...]
    share: float
    notes: tuple[str, ...]

    def evidence_lines(self) -> tuple[str, ...]:
        """What was seen and how sure it is, for a person; no control character of the log is among it."""
        fields = (
            f"{each.field}: {', '.join(map(_shown, each.examples))} (in {each.share:.0%} of the decodes)"
            for each in self.evidence
        )
        return (f"{self.share:.0%} of the lines are read", *fields, *map(_shown, self.notes))


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why no layout can be told from the log: one sentence."""

    reason: str


def _shown(text: str) -> str:
    return "".join(mark if mark.isprintable() else "?" for mark in text)


def learn(
    lines: Sequence[str], file_name: str | None = None, written_s: float | None = None
) -> Learned | Refusal:
    """Infer the layout of ``lines``.

    ``file_name`` may say the date of a log with bare times of day; ``written_s``, when the log was last
    written (seconds since 1970), settles dates that could be read in two ways.
    """
    texts = [text for line in lines[:_MOST_LINES] if (text := line.strip().removeprefix("\ufeff"))]
    if len(texts) < learn_draft.LEAST_ROWS:
        return Refusal(
            f"the log has {len(texts)} lines with text, too few to learn from; 20 decodes are enough"
        )
    if learn_json.is_json(texts):
        return _learn_json(texts, file_name, written_s)
    return _learn_text(texts, file_name, written_s)


def _learn_json(texts: Sequence[str], file_name: str | None, written_s: float | None) -> Learned | Refusal:
    draft = learn_json.draw(texts, written_s)
    if isinstance(draft, Unclear):
        return _refusal(draft)
    if draft is None:
        return Refusal("no member of the JSON objects holds messages beside one that holds their times")
    value: LayoutValue = {"json": draft.pointers}
    headers = _headers(value, texts, file_name, written_s) if Layout.compile(value).needs_date else []
    if isinstance(headers, Unclear):
        return _refusal(headers)
    if headers:
        value = [*headers, {"json": draft.pointers}]
    return _learned(value, draft.fields, texts, file_name, written_s, ())


def _learn_text(texts: Sequence[str], file_name: str | None, written_s: float | None) -> Learned | Refusal:
    tried = _Trial(texts, written_s)
    tried.with_cuts(cuts_of(texts))
    if tried.two_messages is not None:  # in words the second of them would pass for a few ignored ones
        return _refusal(tried.two_messages)
    numbers = tried.best.fields.keys() & set(NUMBER_FIELDS) if tried.best is not None else set()
    if len(numbers) < 2 and tried.unclear is None:
        tried.with_cuts(finer_cuts_of(texts))
    if tried.best is not None:
        return _finished(tried.best, texts, file_name, written_s)
    if tried.unclear is not None:
        return _refusal(tried.unclear)
    if tried.most_rows < learn_draft.LEAST_ROWS:
        return Refusal(
            f"only {tried.most_rows} lines hold a message that names its sender in one place; 20 are enough"
        )
    return Refusal("the messages are there, but no column runs forward like their time")


class _Trial:
    """The drafts of several cuts: the best, and the first doubt."""

    def __init__(self, texts: Sequence[str], written_s: float | None) -> None:
        self.best: Draft | None = None
        self.unclear: Unclear | None = None
        self.two_messages: Unclear | None = None
        self.most_rows = 0
        self._merit = 0.0
        self._texts = texts
        self._written_s = written_s

    def with_cuts(self, cuts: Sequence[Cut]) -> None:
        for how in cuts:
            draft = self._drawn(how)
            if isinstance(draft, Unclear):
                self.unclear = self.unclear or draft
            elif draft is not None and (merit := _merit(draft, self._texts)) > self._merit:
                self.best, self._merit = draft, merit

    def _drawn(self, how: Cut) -> Draft | Unclear | None:
        rows = find_rows(self._texts, how)
        if isinstance(rows, Unclear):
            self.two_messages = rows
            return rows
        self.most_rows = max(self.most_rows, len(rows))
        return learn_draft.draw(rows, bool(how.cells_by), self._written_s)


def _refusal(unclear: Unclear) -> Refusal:
    return Refusal(_shown(unclear.reason))


def _merit(draft: Draft, texts: Sequence[str]) -> float:
    """How many lines the draft reads, each weighted by how many fields it gives."""
    try:
        read = learn_markers.reader([draft.template], 0.0)
    except ConfigError:
        return 0.0
    decodes = sum(learn_markers.sender_of(text, read) is not None for text in texts)
    return (decodes + len(draft.own_rows)) * (1 + 0.2 * len(draft.fields))


def _finished(
    draft: Draft, texts: Sequence[str], file_name: str | None, written_s: float | None
) -> Learned | Refusal:
    extended = learn_markers.extend(draft, texts, lambda templates: learn_markers.reader(templates, 0.0))
    notes = list(extended.notes)
    if draft.own_rows:
        notes.append(f"{len(draft.own_rows)} lines are marked as own transmissions and are left out")
    templates = list(extended.templates)
    if not draft.has_date:
        headers = _headers(templates, texts, file_name, written_s)
        if isinstance(headers, Unclear):
            return _refusal(headers)
        templates = [*headers, *templates]
    value: LayoutValue = templates[0] if len(templates) == 1 else templates
    return _learned(value, draft.fields, texts, file_name, written_s, tuple(notes))


def _headers(
    value: LayoutValue, texts: Sequence[str], file_name: str | None, written_s: float | None
) -> list[str] | Unclear:
    read = learn_markers.reader(value, 0.0)
    unread: list[tuple[int, str]] = []
    seconds: dict[int, float] = {}
    for number, text in enumerate(texts):
        found = read(text)
        if isinstance(found, Decode):
            seconds[number] = found.at_s % 86400
        elif not _holds_a_message(text):
            unread.append((number, text))
    return learn_headers.find(unread, seconds, date_in_name(file_name or ""), written_s)


def _learned(
    value: LayoutValue,
    fields: Mapping[str, Sequence[str]],
    texts: Sequence[str],
    file_name: str | None,
    written_s: float | None,
    notes: tuple[str, ...],
) -> Learned | Refusal:
    layout = Layout.compile(value)
    named = date_in_name(file_name) if file_name else None
    hint = datetime.combine(named, time(12), UTC).timestamp() if named else written_s or 0.0
    reader = LayoutReader(layout, date_hint=named or hint)
    found = [reader.read(text) for text in texts]
    decodes = sum(isinstance(each, Decode) for each in found)
    headers = sum(isinstance(each, Header) for each in found)
    with_message = sum(_holds_a_message(text) for text in texts)
    if decodes < LEAST_SHARE * with_message:
        best = toml_line(value)
        return Refusal(
            f"the best layout ({best}) reads only {decodes} of {with_message} lines with a message"
        )
    evidence = tuple(_evidence(name, column) for name, column in fields.items())
    share = decodes / max(1, len(texts) - headers)
    return Learned(value, toml_line(value), evidence, share, (*notes, *_date_note(layout, headers, named)))


def _holds_a_message(text: str) -> bool:
    words = text.split()
    return any(parse_message(" ".join(words[i:])).sender is not None for i in range(min(len(words), 40)))


def _evidence(name: str, column: Sequence[str]) -> FieldEvidence:
    known = [text for text in column if text]
    return FieldEvidence(name, tuple(dict.fromkeys(known))[:3], len(known) / len(column))


def _date_note(layout: Layout, headers: int, named: object) -> tuple[str, ...]:
    if not layout.needs_date:
        return ()
    if headers:
        return (f"the date comes from header lines ({headers} of them)",)
    if named is not None:
        return (f"the lines hold only a time of day; the date is in the file's name ({named})",)
    return ("the lines hold only a time of day; the date is that of the clock, or of the file's last change",)


def toml_line(value: LayoutValue) -> str:
    """``layout = ...`` as one line of TOML."""
    return f"layout = {_toml(value)}"


def _toml(value: object) -> str:
    if isinstance(value, str):
        return '"' + "".join(map(_toml_mark, value)) + '"'
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{name} = {_toml(member)}" for name, member in value.items()) + " }"
    assert isinstance(value, Sequence)
    return "[" + ", ".join(_toml(member) for member in value) + "]"


def _toml_mark(mark: str) -> str:
    """One character of a basic string (TOML 1.0.0), whatever the log held."""
    if mark in '"\\':
        return "\\" + mark
    return mark if mark.isprintable() else f"\\U{ord(mark):08X}"
