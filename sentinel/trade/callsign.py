"""Call signs: which text has the form of one, whose it is, and what it says about the place.

Form only. Whether anyone was allotted the prefix is another question, answered by ``prefixes``.
"""

import re
from dataclasses import dataclass
from functools import lru_cache

# ITU Radio Regulations 19.68: one of these letters and a digit, or two characters (at most one a digit)
# and a digit; then up to four characters, the last a letter. 19.68A allows more than four for events:
# up to eight here, since eleven characters are the most an FT8 message carries (QEX, July 2020, from
# memory). Half series (3D, SS) take three characters before the digit. No series begins with Q or 0
# (Appendix 42).
_REGULAR = re.compile(
    r"(?P<before>[BFGIKMNRW]|[A-PR-Z][A-Z]|[1-9][A-Z]|[A-PR-Z][0-9](?=[0-9])|(?:3D|SS)[A-Z])"
    r"(?P<area>[0-9])(?P<after>[A-Z0-9]{0,7}[A-Z])"
)
# C6, D2, T2 and other series of a letter and a digit put letters straight behind the digit of the series
# (common practice, no source).
_SERIES_DIGIT = re.compile(r"[A-PR-Z][0-9][A-Z]{1,4}")
_LONGEST_HOME_CALL = 11
_LONGEST_COMPOUND = 20  # VP2E/VE1QZZ/QRP has 15
_LONGEST_PREFIX = 4  # VP2E, 3DA0
_CONVENTIONAL_LOCATOR = re.compile(r"[A-R]{2}[0-9]{2}[a-x]{2}(?:[0-9]{2})?")

_NOWHERE = frozenset({"MM", "AM"})  # maritime and aeronautical mobile
# Two letters that follow a call and are no country: lighthouse, nature reserve, licence classes.
# (Common practice, no source.)
_TWO_LETTERS_NO_PLACE = frozenset({"LH", "FF", "AE", "AG", "KT"})


@dataclass(frozen=True, slots=True)
class Call:
    """A well-formed call sign.

    ``text`` is the call as sent, in upper case without angle brackets; ``base`` the home call, the same
    wherever its holder goes. ``place`` is what to look up to learn where the station is: the foreign
    prefix (PJ4 for PJ4/K1ABC), the call with another area digit (K4ABC for K1ABC/4), else the home
    call; None at sea and in the air (/MM, /AM). ``suffix`` is what follows the home call without moving
    it (P, M, R, B, QRP, MM, P/QRP), or None.
    """

    text: str
    base: str
    place: str | None
    suffix: str | None

    @property
    def is_beacon(self) -> bool:
        """True when the call says so itself: /B or /BCN."""
        return self.suffix in ("B", "BCN")


def parse_call(text: str) -> Call | None:
    """The call sign that ``text`` is, or None; never raises.

    Angle brackets round a resolved hash are taken off; ``<...>`` is None. Reports, CQ, TEST, RR73 and
    four-character locators do not have the form of a call. Six characters can have both forms: FN42AB
    is taken for a call, FN42ab, written as locators are, is not; where either may stand the caller decides.
    """
    if len(text) > _LONGEST_COMPOUND + 2:  # before the cache, so that no huge text is kept there
        return None
    return _parse(text)


@lru_cache(maxsize=8192)
def _parse(text: str) -> Call | None:
    if not text.isascii() or _CONVENTIONAL_LOCATOR.fullmatch(text):
        return None
    if text.startswith("<") and text.endswith(">"):
        text = text[1:-1]
    text = text.upper()
    if len(text) > _LONGEST_COMPOUND:
        return None
    if "/" not in text:
        return Call(text, text, text, None) if _is_home_call(text) else None
    return _compound(text)


def _is_home_call(part: str) -> bool:
    return len(part) <= _LONGEST_HOME_CALL and (
        _REGULAR.fullmatch(part) is not None or _SERIES_DIGIT.fullmatch(part) is not None
    )


def _compound(text: str) -> Call | None:
    parts = text.split("/")
    if len(parts) > 3 or not all(part.isalnum() for part in parts):
        return None
    home = _home_index(parts)
    if home is None:
        return None
    base = parts[home]
    place: str | None = base
    if home == 1:
        if not _is_prefix(parts[0]):
            return None
        place = parts[0]
    kept = []
    for part in parts[home + 1 :]:
        moved = _moved_by(part, base)
        if moved is not None and place == base:
            place = moved
        else:
            kept.append(part)
    if not _NOWHERE.isdisjoint(kept):
        place = None
    return Call(text, base, place, "/".join(kept) or None)


def _home_index(parts: list[str]) -> int | None:
    """The first part, or the second when the first is only a prefix.

    VP2E/K1ABC: both have the form of a call; a first part as short as a prefix is one.
    """
    first_is_call, second_is_call = _is_home_call(parts[0]), _is_home_call(parts[1])
    if first_is_call and not (second_is_call and len(parts[0]) <= _LONGEST_PREFIX):
        return 0
    return 1 if second_is_call else None


def _is_prefix(part: str) -> bool:
    return len(part) <= (3 if part.isalpha() else _LONGEST_PREFIX) and not part.isdigit()


def _moved_by(part: str, base: str) -> str | None:
    """Where a part after the home call puts the station, or None when it does not move it."""
    if len(part) == 1:
        return _with_area_digit(base, part) if part.isdigit() else None
    if part in _NOWHERE or part in _TWO_LETTERS_NO_PLACE or not _is_prefix(part):
        return None
    # Three letters and more are words (QRP, BCN, POTA); two letters, or any with a digit, a prefix.
    return part if len(part) == 2 or not part.isalpha() else None


def _with_area_digit(base: str, digit: str) -> str:
    regular = _REGULAR.fullmatch(base)
    if regular is None:  # C6QAB: its only digit belongs to the series, another would be another country
        return base
    return regular["before"] + digit + regular["after"]
