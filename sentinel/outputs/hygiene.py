"""What may leave in text: nothing that a terminal, a log or a browser would take for an instruction.

Anyone can transmit anything, so every string that came off the air passes here before it is published.
The payload models apply these functions; no caller has to remember them.
"""

import unicodedata

# C0 and C1 controls (Cc), format characters including every bidirectional override (Cf), lone surrogates
# (Cs), and the two separators that end a line in JavaScript though not in JSON (Zl, Zp); categories of the
# Unicode Character Database, UAX #44.
_UNSAFE_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})

# A sentence for people; Home Assistant shows attributes of this length in one line, and the longest
# sentence of ours is about half of it.
MAX_TEXT = 300
# ITU Radio Regulations 19.68A allow longer event calls; with a prefix and two suffixes a compound call
# stays under 20 characters.
MAX_CALL = 20
_CALL_CHARACTERS = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789/")


def clean_text(text: str, limit: int = MAX_TEXT) -> str:
    """``text`` without control, format and surrogate characters, at most ``limit`` characters long.

    A removed character becomes a blank, runs of blanks become one: words never grow together.
    """
    shown = "".join(" " if unicodedata.category(c) in _UNSAFE_CATEGORIES else c for c in text[: 4 * limit])
    joined = " ".join(shown.split())
    return joined if len(joined) <= limit else joined[: limit - 1].rstrip() + "…"


def clean_call(call: str) -> str:
    """``call`` reduced to the characters that a call sign can have: A to Z, 0 to 9 and the slash."""
    return "".join(c for c in call.upper() if c in _CALL_CHARACTERS)[:MAX_CALL]
