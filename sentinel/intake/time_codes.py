"""The strptime codes: what each reads, and a format of them as one regular expression."""

import difflib
import re
from collections.abc import Mapping

from sentinel.errors import ConfigError

MONTHS = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def _either(words: tuple[str, ...], length: int | None = None) -> str:
    return "|".join(word[:length] for word in words)


# what each code reads; the digits as the Python documentation of strptime gives them (leading zero optional)
_CODES: Mapping[str, str] = {
    "Y": "[0-9]{4}",
    "y": "[0-9]{2}",
    "m": "1[0-2]|0[1-9]|[1-9]",
    "d": "3[01]|[12][0-9]|0[1-9]| ?[1-9]",
    "j": "36[0-6]|3[0-5][0-9]|[12][0-9]{2}|0[1-9][0-9]|00[1-9]|[1-9][0-9]|0?[1-9]",
    "H": "2[0-3]|[01][0-9]|[0-9]",
    "I": "1[0-2]|0[1-9]| ?[1-9]",
    "M": "[0-5][0-9]|[0-9]",
    "S": "6[01]|[0-5][0-9]|[0-9]",
    "f": "[0-9]{1,9}",
    "p": "am|pm",
    "z": "z|[+-][0-9]{2}:?[0-5][0-9]",
    "Z": "utc|gmt|z",
    "b": _either(MONTHS, 3),
    "B": _either(MONTHS),
    "a": _either(WEEKDAYS, 3),
    "A": _either(WEEKDAYS),
    "U": "5[0-3]|[0-4][0-9]|[0-9]",
    "W": "5[0-3]|[0-4][0-9]|[0-9]",
    "w": "[0-6]",
    "u": "[1-7]",
    "G": "[0-9]{4}",
    "V": "5[0-3]|0[1-9]|[1-4][0-9]|[0-9]",
}
# codes that stand for several others, in the C locale
_SHORTHANDS: Mapping[str, str] = {
    "T": "%H:%M:%S",
    "R": "%H:%M",
    "F": "%Y-%m-%d",
    "D": "%m/%d/%y",
    "e": "%d",
    "h": "%b",
    "c": "%a %b %d %H:%M:%S %Y",
    "x": "%m/%d/%y",
    "X": "%H:%M:%S",
}
# dates by week number: rare enough to leave to the standard library
BY_WEEK = frozenset("UWwuGV")


def expand(text: str) -> str:
    """The format with its shorthands (``%T`` and the like) written out."""
    return re.sub("%(.)", lambda found: _SHORTHANDS.get(found[1], found[0]), text, flags=re.DOTALL)


def codes_in(text: str) -> frozenset[str]:
    """The strptime codes of a format, shorthands expanded."""
    return frozenset(re.findall("%(.)", expand(text).replace("%%", "")))


def named_pattern(text: str) -> str:
    pattern, seen = "", set()
    for code, blanks, other in re.findall(r"%(.|$)|([ \t]+)|([^% \t]+)", text):
        if blanks:
            pattern += "[ \t]+"
        elif other:
            pattern += re.escape(other)
        elif code == "%":
            pattern += "%"
        elif code not in _CODES:
            raise ConfigError(f'"%{code}" is no strptime code{_nearest_code(code)}')
        elif code in seen:
            raise ConfigError(f'"%{code}" stands twice in "{text}"')
        else:
            seen.add(code)
            pattern += f"(?P<{code}>{_CODES[code]})"
    return pattern


def _nearest_code(code: str) -> str:
    near = [known for known in (code.upper(), code.lower()) if known in _CODES]
    return f'; did you mean "%{near[0]}"?' if near else "; a percent sign is written %%"


def check_whole(text: str, codes: frozenset[str]) -> None:
    if not codes:
        near = difflib.get_close_matches(text, ["epoch"])
        mend = '; did you mean "epoch"?' if near else "; write codes such as %H:%M:%S, or epoch"
        raise ConfigError(f'"{text}" holds no strptime code{mend}')
    has_hour = "H" in codes or {"I", "p"} <= codes
    if codes & set("MSfIp") and not has_hour:
        raise ConfigError(f'"{text}" has no hour: add %H, or both %I and %p')
    is_whole_date = "j" in codes or (codes & set("mbB") and "d" in codes) or codes & BY_WEEK
    if codes & set("YymbBd") and not is_whole_date:
        raise ConfigError(f'"{text}" is only part of a date: add month and day (%m and %d)')


def lacks_year(codes: frozenset[str]) -> bool:
    return bool(codes & set("djbBm")) and not codes & set("YyG")
