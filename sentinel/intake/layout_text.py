"""A text template as one regular expression, compiled once, whose groups are read in a fixed order.

Numbers in fixed columns are often padded, so a number may have blanks in front of it, and blanks beside a
delimiter (``-7 ,``) do not count. In a cell between ``,`` ``;`` or ``|`` a number or mode may be missing, and
``{skip}`` skips the whole cell.
"""

import re
from collections.abc import Sequence

from sentinel.errors import ConfigError
from sentinel.intake.layout_template import NUMBER_FIELDS, REMARK, Blank, Field, Literal, Part, parse_template
from sentinel.intake.time_codes import codes_in
from sentinel.intake.time_format import TimeFormat, compile_format, iso_date, iso_time

# what a form finds in a line, in this order; None for what is not there
Found = Sequence[str | None]
FOUND_ORDER = ("utc", "date", "snr_db", "dt_s", "audio_hz", "freq_mhz", "mode", "message", "doubt")

NUMBER_PLACES = frozenset(FOUND_ORDER.index(name) for name in NUMBER_FIELDS)

# possessive: runs of blanks that two neighbours could share are never tried in more than one way
_BLANKS = "[ \t]++"
_MAYBE_BLANKS = "[ \t]*+"
_CELL_DELIMITERS = ",;|"
# No decoder's line is longer; it bounds the work of a pattern with a message in its middle on a hostile line.
_LONGEST_LINE = 1024


class TextForm:
    """One template. ``match`` finds the fields in a line that has no blanks at either end."""

    def __init__(self, template: str) -> None:
        self.parts = parse_template(template)
        fields = {part.name: part for part in self.parts if isinstance(part, Field)}
        self.is_header = "message" not in fields
        try:
            self.clock = _clock(fields["utc"].argument) if "utc" in fields else None
            self.calendar = _calendar(fields["date"].argument) if "date" in fields else None
        except ConfigError as error:
            raise ConfigError(f'layout "{template}": {error}') from None
        pattern = _Pattern(self.parts, self.clock, self.calendar)
        compiled = re.compile(pattern.text())
        self._match = compiled.fullmatch
        self._groups = tuple(compiled.groupindex[name] for name in FOUND_ORDER)
        self._has_decimal_commas = pattern.has_decimal_commas

    def match(self, line: str) -> Found | None:
        """The texts of the fields in FOUND_ORDER, or ``None`` if the line does not fit."""
        if len(line) > _LONGEST_LINE:
            return None
        found = self._match(line)
        if found is None:
            return None
        texts: Found = found.group(*self._groups)
        if self._has_decimal_commas and "," in line:
            texts = [_with_point(text) if i in NUMBER_PLACES else text for i, text in enumerate(texts)]
        return texts


def _with_point(text: str | None) -> str | None:
    return None if text is None else text.replace(",", ".")


def _clock(argument: str | None) -> TimeFormat:
    if argument is None:
        return iso_time()
    clock = compile_format(argument)
    if argument != "epoch" and not codes_in(argument) & set("HIcTRX"):
        raise ConfigError(f"{{utc:{argument}}} has no hour: a date alone is written {{date:{argument}}}")
    return clock


def _calendar(argument: str | None) -> TimeFormat:
    if argument is None:
        return iso_date()
    if argument == "epoch" or not codes_in(argument) & set("djUWV"):
        raise ConfigError(f"{{date:{argument}}} holds no date: write it as in {{date:%Y-%m-%d}}")
    return compile_format(argument)


class _Pattern:
    """Builds the regular expression of one template, part by part."""

    def __init__(
        self, parts: tuple[Part, ...], clock: TimeFormat | None, calendar: TimeFormat | None
    ) -> None:
        self._parts = parts
        self._times = {"utc": clock, "date": calendar}
        literals = "".join(part.text for part in parts if isinstance(part, Literal))
        self.has_decimal_commas = "," not in literals  # where a comma cannot be a delimiter
        point = "[.,]" if self.has_decimal_commas else "[.]"
        # bounded, or numbers that touch could be cut in very many ways
        self._number = f"[+-]?(?:[0-9]{{1,12}}(?:{point}[0-9]{{0,12}})?|{point}[0-9]{{1,12}})"

    def text(self) -> str:
        present = {part.name for part in self._parts if isinstance(part, Field)}
        pieces = [self._piece(i) for i in range(len(self._parts))]
        # a group that can never match stands for each field that the template does not have
        return "".join(pieces) + "".join(f"(?P<{name}>(?!))?" for name in FOUND_ORDER if name not in present)

    def _piece(self, i: int) -> str:
        part = self._parts[i]
        if isinstance(part, Blank):
            return "" if self._is_part_of_a_marker(i) else _BLANKS
        if isinstance(part, Literal):
            before = _MAYBE_BLANKS if self._is_field(i - 1) else ""
            after = _MAYBE_BLANKS if self._is_field(i + 1) else ""
            return before + re.escape(part.text) + after
        if part.is_marker:
            return self._marker(i, part)
        return self._field(i, part)

    def _field(self, i: int, part: Field) -> str:
        cell = self._cell_delimiter(i)
        if part.name == "message":
            return r"(?P<message>\S.*)" if self._is_split_by_words(i) else r"(?P<message>\S.*?)"
        if part.name == "skip":
            return f"[^{cell}]*" if cell else f"[^ \t{self._stop(i)}]+"
        if part.name == "mode":
            return f"(?P<mode>[^ \t{self._stop(i)}]{'*' if cell else '+'})"
        if part.name in NUMBER_FIELDS:
            lead = "" if i and isinstance(self._parts[i - 1], Blank) else _MAYBE_BLANKS
            return f"{lead}(?P<{part.name}>{self._number}){'?' if cell else ''}"
        times = self._times[part.name]
        return f"(?P<{part.name}>{times.pattern if times else ''})"

    def _is_split_by_words(self, i: int) -> bool:
        """True if a fixed number of words follows: then it is found from the line's end, which is faster."""
        behind = self._parts[i + 1 :]
        return all(
            isinstance(part, Blank)
            or (isinstance(part, Field) and not part.is_marker and self._is_blank(j - 1))
            for j, part in enumerate(behind, start=i + 1)
        )

    def _is_blank(self, i: int) -> bool:
        return isinstance(self._parts[i], Blank)

    def _marker(self, i: int, part: Field) -> str:
        if part.argument == REMARK and part.name == "skip":
            return r"(?:(?:[ \t]{2,}|\t).*)?"
        group = "(?P<doubt>" if part.name == "doubt" else "(?:"
        text = _BLANKS.join(re.escape(word) for word in re.split("[ \t]+", part.argument or ""))
        if i and isinstance(self._parts[i - 1], Blank):
            return f"(?:{_BLANKS}{group}{text}))?"
        if i == 0 and len(self._parts) > 1 and isinstance(self._parts[1], Blank):
            return f"(?:{group}{text}){_BLANKS})?"
        return f"{group}{text})?"

    def _is_part_of_a_marker(self, i: int) -> bool:
        right = self._parts[i + 1] if i + 1 < len(self._parts) else None
        if isinstance(right, Field) and right.is_marker:
            return True
        first = self._parts[0]
        return i == 1 and isinstance(first, Field) and first.is_marker

    def _is_field(self, i: int) -> bool:
        return 0 <= i < len(self._parts) and isinstance(self._parts[i], Field)

    def _stop(self, i: int) -> str:
        """The character that ends a word: the first of the literal right behind it."""
        right = self._parts[i + 1] if i + 1 < len(self._parts) else None
        if isinstance(right, Field) and right.is_marker and right.argument and right.argument != REMARK:
            return re.escape(right.argument[0])
        return re.escape(right.text[0]) if isinstance(right, Literal) else ""

    def _cell_delimiter(self, i: int) -> str:
        """The delimiter on both sides of a field (blanks and the line's ends do not count), or nothing."""
        left = next((p for p in reversed(self._parts[:i]) if not isinstance(p, Blank)), None)
        right = next((p for p in self._parts[i + 1 :] if not isinstance(p, Blank)), None)
        before = left.text[-1] if isinstance(left, Literal) else None
        after = right.text[0] if isinstance(right, Literal) else None
        if (left is not None and before is None) or (right is not None and after is None):
            return ""
        delimiters = {mark for mark in (before, after) if mark is not None}
        return delimiters.pop() if len(delimiters) == 1 and delimiters <= set(_CELL_DELIMITERS) else ""
