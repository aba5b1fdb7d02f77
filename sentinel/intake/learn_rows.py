"""Lines cut into columns around their message, which its grammar alone finds.

A line is cut in two ways: into words (blanks part them; brackets, quotes, keys and delimiters stand alone),
or into the cells between a delimiter. The message is the piece that names its sender in most lines, at the
same distance from the line's start and from its end.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sentinel.intake.unclear import Unclear
from sentinel.trade.exchange import may_be_call
from sentinel.trade.message import Kind, parse_message

DELIMITERS = ",;|"
RARE_DELIMITERS = "/@#^!&~%*\\:_$"
# Longer lines are no decodes; as long as a layout reads.
_LONGEST_LINE = 1024
_MOST_WORDS = 60
# Kinds that a bare call beside another column could give as well count half against a CQ or a contact.
_WEAK_KINDS = frozenset({Kind.CALL, Kind.WSPR, Kind.BEACON})
_OPENERS = frozenset({"CQ", "QRZ", "DE", "TU;", "TEST", "V", "VV", "VVV"})
# Nearly all lines must leave a column behind the message for it to be one: the rest are odd messages.
_COLUMN_SHARE = 0.85
# Own transmissions may be a good part of a log, and have fewer columns.
_USUAL_SHARE = 0.7


@dataclass(frozen=True, slots=True)
class Cut:
    """One way of cutting lines: ``delimiters`` stand alone; ``cells_by`` cuts at that delimiter only."""

    delimiters: str = ""
    cells_by: str = ""
    parts_signs: bool = False
    """Fixed columns may touch: a sign behind a digit begins a number."""


@dataclass(frozen=True, slots=True)
class Pieces:
    """One line, cut. ``glue[i]`` is what stands in front of piece i: a blank, nothing or a delimiter."""

    texts: tuple[str, ...]
    glue: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One line that holds a message: its pieces, and from which to which of them the message goes."""

    number: int
    pieces: Pieces
    start: int
    end: int
    message: str

    @property
    def sides(self) -> tuple[int, int]:
        """How many pieces stand before the message and behind it."""
        return self.start, len(self.pieces.texts) - self.end

    @property
    def columns(self) -> tuple[str, ...]:
        return self.pieces.texts[: self.start] + self.pieces.texts[self.end :]

    @property
    def glue(self) -> tuple[str, ...]:
        """What stands in front of each column; then in front of the message."""
        glue = self.pieces.glue
        return (*glue[: self.start], *glue[self.end :], glue[self.start])


def cuts_of(lines: Sequence[str]) -> list[Cut]:
    """The ways of cutting worth trying: with the delimiters that stand equally often in most lines."""
    steady = "".join(mark for mark in DELIMITERS if _is_steady(mark, lines))
    if "," in steady and _is_decimal_comma(lines):
        steady = steady.replace(",", "")
    return [Cut(steady), *(Cut(cells_by=mark) for mark in steady)]


def finer_cuts_of(lines: Sequence[str]) -> list[Cut]:
    """More ways, for lines that those leave whole: numbers that touch, delimiters that times hold too."""
    base = cuts_of(lines)[0].delimiters
    cuts = [Cut(base, parts_signs=True)]
    return cuts + [Cut(base + mark) for mark in RARE_DELIMITERS if _is_steady(mark, lines)]


def _is_steady(mark: str, lines: Sequence[str]) -> bool:
    counts = Counter(line.count(mark) for line in lines if mark in line)
    return bool(counts) and counts.most_common(1)[0][1] >= 0.6 * len(lines)


def _is_decimal_comma(lines: Sequence[str]) -> bool:
    """True if in most lines every comma stands between two digits."""
    with_commas = [line for line in lines if "," in line]
    pure = sum(re.search("(?<![0-9]),|,(?![0-9])", line) is None for line in with_commas)
    return pure >= 0.8 * len(with_commas)


def cut(line: str, how: Cut) -> Pieces:
    """The pieces of one line (without blanks at its ends)."""
    if how.cells_by:
        return _cells(line, how.cells_by)
    return _words(line, how)


def _cells(line: str, mark: str) -> Pieces:
    cells = line.split(mark)
    blank_before = all(cell[:1] in (" ", "\t", "") for cell in cells[1:])
    blank_behind = all(cell[-1:] in (" ", "\t", "") for cell in cells[:-1])
    glue = (" " if blank_behind else "") + mark + (" " if blank_before else "")
    return Pieces(tuple(cell.strip() for cell in cells), ("", *(glue for _ in cells[1:])))


def _words(line: str, how: Cut) -> Pieces:
    texts, glue = [], []
    end = 0
    for word in _word_pattern(how).finditer(line):
        glue.append(" " if word.start() > end else "")
        texts.append(word[0])
        end = word.end()
    return Pieces(tuple(texts), tuple(glue))


def _word_pattern(how: Cut) -> re.Pattern[str]:
    alone = re.escape(how.delimiters) + "\"'()\\[\\]{}"
    key = r"[A-Za-z_][\w.\-]*=|[A-Za-z_]+:(?=[^\s:])"
    mark = f"[^\\s{alone}=]"
    more = f"(?:(?!(?<=[0-9])[+-][0-9]){mark})*" if how.parts_signs else f"{mark}*"
    return re.compile(f"{key}|[{alone}]|{mark}{more}|=")


def find_rows(lines: Sequence[str], how: Cut) -> list[Row] | Unclear:
    """The lines that hold a message in the place where most do, with what stands around it.

    Unclear if two cells hold different messages as often.
    """
    every = [(i, cut(line, how)) for i, line in enumerate(lines) if line and len(line) <= _LONGEST_LINE]
    every = [(i, pieces) for i, pieces in every if len(pieces.texts) <= _MOST_WORDS]
    return _cell_rows(every) if how.cells_by else _word_rows(every)


def _cell_rows(every: list[tuple[int, Pieces]]) -> list[Row] | Unclear:
    weights: dict[tuple[int, int], float] = defaultdict(float)
    for _, pieces in every:
        for place, text in enumerate(pieces.texts):
            weights[place, len(pieces.texts)] += _weight(unquoted(text)[1])
    if not weights:
        return []
    place, count = max(weights, key=lambda key: weights[key])
    rival = _other_message(place, count, weights, every)
    if rival is not None:
        return Unclear(f"columns {place + 1} and {rival + 1} both hold messages, and not the same ones")
    return [
        Row(i, pieces, place, place + 1, unquoted(pieces.texts[place])[1])
        for i, pieces in every
        if len(pieces.texts) == count and _weight(unquoted(pieces.texts[place])[1])
    ]


def _other_message(
    place: int, count: int, weights: dict[tuple[int, int], float], every: list[tuple[int, Pieces]]
) -> int | None:
    """Another cell that holds messages nearly as often, most of them different ones."""
    rows = [pieces.texts for _, pieces in every if len(pieces.texts) == count]
    # a number here and there that passes for a call is no column of messages
    least = max(_COLUMN_SHARE * weights[place, count], 0.4 * len(rows))
    for (other, length), weight in weights.items():
        if other == place or length != count or weight < least:
            continue
        if sum(texts[other] == texts[place] for texts in rows) < 0.5 * len(rows):
            return other
    return None


def unquoted(text: str) -> tuple[str, str, str]:
    """A cell's key and opening quote, what it holds, and its closing quote."""
    found = re.fullmatch(r"""((?:[A-Za-z_][\w.\-]*=|[A-Za-z_]+:)?\s*["'\[(]?)(.*?)(["'\])]?)""", text)
    return (found[1], found[2].strip(), found[3]) if found else ("", text, "")


def _word_rows(every: list[tuple[int, Pieces]]) -> list[Row]:
    spans = [(i, pieces, _spans(pieces)) for i, pieces in every]
    weights: dict[int, float] = defaultdict(float)
    for _, _, found in spans:
        for start, (_, weight) in found.items():
            weights[start] += weight
    if not weights:
        return []
    start = max(weights, key=lambda key: (weights[key], -key))
    here = [(i, pieces, found[start][0]) for i, pieces, found in spans if start in found]
    behind = _columns_behind(len(pieces.texts) - end for _, pieces, end in here)
    rows = []
    for i, pieces, tight_end in here:
        end = len(pieces.texts) - behind
        if end > start and tight_end <= end and _is_one_run(pieces, start, end):
            rows.append(Row(i, pieces, start, end, " ".join(pieces.texts[start:end])))
    return rows


def _columns_behind(counts: Iterable[int]) -> int:
    """How many columns stand behind the message, from where the messages themselves could end."""
    tally = Counter(counts)
    total = sum(tally.values())
    usual, count = tally.most_common(1)[0]
    if count >= _USUAL_SHARE * total:
        return usual
    behind = 0
    while sum(n for count, n in tally.items() if count > behind) >= _COLUMN_SHARE * total:
        behind += 1
    return behind


def _spans(pieces: Pieces) -> dict[int, tuple[int, float]]:
    """For each piece at which a message may begin: where it ends at the earliest, and how sure it is one."""
    found = {}
    for start, text in enumerate(pieces.texts):
        if text.upper() not in _OPENERS and not may_be_call(text):
            continue
        stop = start + 1
        while stop < len(pieces.texts) and pieces.glue[stop] == " " and stop - start < 16:
            stop += 1
        span = _span(pieces.texts[start:stop])
        if span is not None:
            found[start] = (start + span[0], span[1])
    return found


def _span(words: Sequence[str]) -> tuple[int, float] | None:
    count = tight_words(words)
    if count is None:
        return None
    return count, _kind_weight(parse_message(" ".join(words)).kind)


def tight_words(words: Sequence[str]) -> int | None:
    """How many of the words, from the first, make up the whole message; ``None`` if it names nobody."""
    whole = parse_message(" ".join(words))
    if whole.sender is None:
        return None
    count = len(words)
    while count > 1 and parse_message(" ".join(words[: count - 1])) == whole:
        count -= 1
    return count


def _weight(text: str) -> float:
    """How surely a whole cell is a message; 0 if it names nobody."""
    words = text.split()
    message = parse_message(text)
    if message.sender is None or len(words) > 16:
        return 0.0
    return _kind_weight(message.kind)


def _kind_weight(kind: Kind) -> float:
    return 0.5 if kind in _WEAK_KINDS else 1.0


def _is_one_run(pieces: Pieces, start: int, end: int) -> bool:
    return all(glue == " " for glue in pieces.glue[start + 1 : end])
