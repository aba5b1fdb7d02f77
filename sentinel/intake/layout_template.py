"""The template language: ``{utc:%H%M%S} {snr_db} {message}`` to a checked tuple of parts.

Literal text and named fields; ``{{`` and ``}}`` are braces. A run of blanks (spaces or tabs) in the template
stands for one or more blanks in the line, ``{skip}`` for one ignored word. ``{skip:TEXT}`` and
``{doubt:TEXT}`` are markers: TEXT may stand there or not, and where ``doubt`` does, the decoder itself doubts
the line. ``{skip:...}`` at the end ignores a remark: whatever stands behind two or more blanks.
"""

import difflib
import re
from dataclasses import dataclass
from itertools import pairwise

from sentinel.errors import ConfigError

NUMBER_FIELDS = ("snr_db", "dt_s", "audio_hz", "freq_mhz")
REMARK = "..."
WORD_FIELDS = ("mode", "skip", "message")
TIME_FIELDS = ("utc", "date")
FIELDS = ("utc", "date", "snr_db", "dt_s", "audio_hz", "freq_mhz", "mode", "skip", "message", "doubt")

_TOKEN = re.compile(
    r"(?P<brace>\{\{|\}\})|\{(?P<field>[^{}]*)\}|(?P<stray>[{}])|(?P<blank>[ \t]+)|(?P<text>[^{} \t]+)"
)


@dataclass(frozen=True, slots=True)
class Literal:
    """Text that stands in every line; never blanks."""

    text: str


@dataclass(frozen=True, slots=True)
class Blank:
    """One or more blanks."""


@dataclass(frozen=True, slots=True)
class Field:
    """``{name}`` or ``{name:argument}``."""

    name: str
    argument: str | None = None

    @property
    def is_marker(self) -> bool:
        return self.name == "doubt" or (self.name == "skip" and self.argument is not None)

    @property
    def is_word(self) -> bool:
        return self.name in WORD_FIELDS and not self.is_marker


Part = Literal | Blank | Field


def parse_template(template: str) -> tuple[Part, ...]:
    """The parts of ``template``; ConfigError with one sentence: the template, what is wrong, the mend."""
    try:
        parts = _parts(template)
        check_fields([part for part in parts if isinstance(part, Field)])
        _check_neighbours(parts)
    except ConfigError as error:
        raise ConfigError(f'layout "{template}": {error}') from None
    return parts


def check_fields(fields: list[Field]) -> None:
    """Raise ConfigError unless the fields together say when, and say what was heard or on what date."""
    names = [field.name for field in fields if not field.is_marker and field.name != "skip"]
    for name in names:
        if names.count(name) > 1:
            raise ConfigError(f"{{{name}}} stands twice; keep one and write {{skip}} for the other")
    if [field.name for field in fields].count("doubt") > 1:
        raise ConfigError("{doubt:...} stands twice; keep one")
    if "message" in names and "utc" not in names:
        raise ConfigError("no {utc}: every decode needs its time, for instance {utc:%H%M%S}")
    if "message" not in names and "date" not in names:
        raise ConfigError("no {message}: only a header line with {date:...} may do without")


def _parts(template: str) -> tuple[Part, ...]:
    parts: list[Part] = []
    for token in _TOKEN.finditer(template.strip()):
        if token["stray"]:
            raise ConfigError(f'a "{token["stray"]}" has no partner; a brace itself is written twice')
        if token["blank"]:
            parts.append(Blank())
        elif token["field"] is not None:
            parts.append(_field(token["field"]))
        else:
            text = token["text"] or token["brace"][0]
            if parts and isinstance(parts[-1], Literal):
                text = parts.pop().text + text  # type: ignore[union-attr]
            parts.append(Literal(text))
    return tuple(parts)


def _field(inside: str) -> Field:
    name, colon, argument = inside.partition(":")
    if name not in FIELDS:
        near = difflib.get_close_matches(name, FIELDS, 1, 0.4)
        mend = f"did you mean {{{near[0]}}}?" if near else f"the fields are {', '.join(FIELDS)}"
        raise ConfigError(f"unknown field {{{name}}}; {mend}")
    if name in ("doubt", "skip") and colon and not argument.strip():
        raise ConfigError(f"{{{inside}}} names no text; write it behind the colon")
    if name == "doubt" and not colon:
        raise ConfigError("{doubt} needs the decoder's marker, for instance {doubt:?}")
    if colon and name not in ("utc", "date", "skip", "doubt"):
        raise ConfigError(f"{{{inside}}}: {name} takes nothing behind a colon; write {{{name}}}")
    if colon and name in ("utc", "date") and not argument:
        raise ConfigError(f"{{{inside}}} gives no format; write strptime codes, for instance {{utc:%H%M%S}}")
    return Field(name, argument if colon else None)


def _check_neighbours(parts: tuple[Part, ...]) -> None:
    """Two words with nothing between them could be cut anywhere; a remark ends the line."""
    if Field("skip", REMARK) in parts[:-1]:
        raise ConfigError("{skip:...} ignores the rest of the line; put it at the end")
    for left, right in pairwise(parts):
        if isinstance(left, Field) and isinstance(right, Field) and left.is_word and right.is_word:
            raise ConfigError(
                f"nothing parts {{{left.name}}} from {{{right.name}}}; put a blank between them"
            )
