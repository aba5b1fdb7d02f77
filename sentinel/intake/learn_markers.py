"""Words that stand in some lines only, and columns that are missing in some.

A word that can be left out of the lines that are not read yet, so that they are read, is a marker: an
optional literal in the template. If a template without one of its columns reads lines from several stations,
it is a second template.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from sentinel.errors import ConfigError
from sentinel.intake.layout import Layout, LayoutReader, LayoutValue
from sentinel.intake.learn_draft import Draft
from sentinel.intake.learn_rows import tight_words
from sentinel.trade.message import parse_message
from sentinel.watch.decode import Decode

# A word must mark so many lines before it is more than garbage: of these, at least this share of the log.
_LEAST_LINES = 2
_LEAST_SHARE = 0.015
_MOST_MARKERS = 4
_MOST_TRIED = 400
_LONGEST_MARKER = 12
# Nothing of a message is so short and stands behind its end; one such word is enough to know it.
_SHORT_MARKER = 3

ReadBy = Callable[[Sequence[str]], Callable[[str], object]]
"""Makes a reader of single lines from templates."""


@dataclass(frozen=True, slots=True)
class Extended:
    """The templates, the more particular first, and a sentence for each thing found."""

    templates: tuple[str, ...]
    notes: tuple[str, ...]


def sender_of(text: str, read: Callable[[str], object]) -> str | None:
    """Who sent what the line holds, if it is read and names its sender."""
    found = read(text)
    if not isinstance(found, Decode):
        return None
    sender = parse_message(found.message).sender
    return None if sender is None else sender.text


def extend(draft: Draft, lines: Sequence[str], read_by: ReadBy) -> Extended:
    """Markers, remarks and second templates."""
    least = max(_LEAST_LINES, round(_LEAST_SHARE * len(lines)))
    pieces, glue, notes = list(draft.pieces), list(draft.glue), []
    remarked = _with_remark(draft, lines, read_by)
    if remarked is not None:
        notes.append("the lines may have a remark behind the message, after two blanks or more")
        draft = remarked
        pieces, glue = list(draft.pieces), list(draft.glue)
    for place, word, count in _markers(draft, lines, read_by, least):
        pieces.insert(place, f"{{doubt:{word}}}" if word == "?" else f"{{skip:{word}}}")
        glue.insert(place, " ")
        notes.append(f'"{word}" stands in {count} lines only')
    template = _joined(pieces, glue)
    templates = [template]
    unread = _unread(lines, read_by([template]))
    heard = {sender_of(line, read_by([template])) for line in lines} - {None}
    for shorter in _shorter(pieces, glue):
        try:
            read = read_by([shorter])
        except ConfigError:
            continue
        senders = [sender for line in unread if (sender := sender_of(line, read)) is not None]
        if len(senders) < least:
            continue
        if len(set(senders)) == 1 and senders[0] not in heard:
            notes.append(f"{len(senders)} lines look like own transmissions ({senders[0]}) and are left out")
        elif len(set(senders)) > 1:
            templates.append(shorter)
            unread = _unread(unread, read)
            notes.append(f"{len(senders)} lines lack a column")
    return Extended(tuple(templates), tuple(notes))


def _joined(pieces: Sequence[str], glue: Sequence[str]) -> str:
    return "".join(before + piece for before, piece in zip(glue, pieces, strict=True)).strip()


def _unread(lines: Sequence[str], read: Callable[[str], object]) -> list[str]:
    return [line for line in lines if sender_of(line, read) is None]


def _markers(draft: Draft, lines: Sequence[str], read_by: ReadBy, least: int) -> list[tuple[int, str, int]]:
    """Place among the pieces, word and number of lines of each marker, the last place first."""
    read = read_by([draft.template])
    found: Counter[tuple[int, str]] = Counter()
    for line in lines:
        decode = read(line)
        if isinstance(decode, Decode) and (tail := _tail(decode.message)):
            found[draft.message_at + 1, tail] += 1
    for line in _unread(lines, read)[:_MOST_TRIED]:
        place_and_word = _without_a_word(line, draft, read)
        if place_and_word is not None:
            found[place_and_word] += 1
    known = [
        (key, count) for key, count in found.most_common() if count >= least or len(key[1]) <= _SHORT_MARKER
    ]
    if len(known) > _MOST_MARKERS:
        return []
    return sorted(((place, word, count) for (place, word), count in known), reverse=True)


def _with_remark(draft: Draft, lines: Sequence[str], read_by: ReadBy) -> Draft | None:
    """The draft with a remark at its end, if that leaves more of the messages with nothing behind them."""
    end = draft.message_at + 1
    if any(piece != "{skip}" for piece in draft.pieces[end:]):
        return None
    pieces, glue = (*draft.pieces[:end], "{skip:...}"), (*draft.glue[:end], "")
    remarked = replace(draft, template=_joined(pieces, glue), pieces=pieces, glue=glue)
    before, after = (_clean_messages(lines, read_by([each.template])) for each in (draft, remarked))
    if all(before.get(line) == message for line, message in after.items()):
        return None
    remarks = {line[line.rindex(message) + len(message) :].strip() for line, message in after.items()} - {""}
    # a few single words that come again and again are markers, which are better known by name
    is_prose = len(remarks) >= _MOST_MARKERS or any(" " in remark for remark in remarks)
    return remarked if is_prose else None


def _clean_messages(lines: Sequence[str], read: Callable[[str], object]) -> dict[str, str]:
    """The messages of the lines that are read as one with nothing behind it."""
    clean = {}
    for line in lines:
        decode = read(line)
        if isinstance(decode, Decode):
            words = decode.message.split()
            if tight_words(words) == len(words):
                clean[line] = decode.message
    return clean


def _tail(message: str) -> str | None:
    """The one word behind a complete message, if it could be a marker."""
    words = message.split()
    count = tight_words(words)
    if count is None or count != len(words) - 1 or not _may_mark(words[-1]):
        return None
    return words[-1]


def _may_mark(word: str) -> bool:
    return len(word) <= _LONGEST_MARKER and not any(mark in "{}" for mark in word)


def _without_a_word(line: str, draft: Draft, read: Callable[[str], object]) -> tuple[int, str] | None:
    words = line.split()
    front = sum(" " in glue or i == 0 for i, glue in enumerate(draft.glue[: draft.message_at + 1]))
    for i, word in enumerate(words[: front + 1]):
        if not _may_mark(word) or any(mark.isdigit() for mark in word):
            continue
        if sender_of(" ".join(words[:i] + words[i + 1 :]), read) is not None:
            return _place_of_word(i, draft), word
    return None


def _place_of_word(index: int, draft: Draft) -> int:
    """The piece that begins the word of that index."""
    words = -1
    for place, glue in enumerate(draft.glue):
        words += " " in glue or place == 0
        if words == index:
            return place
    return draft.message_at


def _shorter(pieces: Sequence[str], glue: Sequence[str]) -> list[str]:
    """The template without one of its columns, each in turn."""
    found = []
    for place, piece in enumerate(pieces):
        if "{message}" in piece or "{utc" in piece or ":" in piece or "{" not in piece:
            continue
        found.append(_joined([*pieces[:place], *pieces[place + 1 :]], [*glue[:place], *glue[place + 1 :]]))
    return found


def reader(value: LayoutValue, date_hint: float) -> Callable[[str], object]:
    """Reads single lines by the layout, whatever their date."""
    return LayoutReader(Layout.compile(value), date_hint=date_hint).read
