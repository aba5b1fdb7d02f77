"""Decodes of nothing: noise that happened to pass the checksum, printed as if it were a message.

A 14-bit checksum passes a wrong candidate with chance 6.1e-5, so a decoder prints a few false messages an
hour, a wrong setting or strong interference several a minute. Most carry random 28-bit values, of which
97.7 % print as a standard call; a decoder that guesses at likely messages also prints a true beginning
("CQ", or our own call) with random rest. SNR lies near the threshold, audio and time offset anywhere.

One thing is less random than in nature: what follows a call's digit always begins with Q, so that no printed
call can be somebody's. It changes the share of well-formed calls by little.
"""

import random
import re
from string import ascii_uppercase, digits

_FIRST = " " + digits + ascii_uppercase
_SECOND = digits + ascii_uppercase
_LETTERS = " " + ascii_uppercase
# Of 2^28 values, 262,177,560 stand for standard calls, 4,194,304 for hashes, the rest for CQ and its kin.
_CALL_SHARE = 262_177_560 / 2**28
_HASH_SHARE = 4_194_304 / 2**28
# Of 2^15 values of the last field, 32,400 are locators.
_SQUARES = 18 * 18 * 100
_FREE_TEXT = " 0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ+-./?"


def false_message(rng: random.Random, own_call: str = "") -> str:
    """One message made of noise."""
    kind = rng.random()
    if kind < 0.35:
        return f"CQ {_standard_call(rng)} {_random_square(rng)}"
    if kind < 0.42 and own_call:
        return f"{own_call} {_standard_call(rng)} {_last_field(rng)}"
    if kind < 0.90:
        roger = "R " if rng.random() < 0.5 else ""
        return f"{random_field(rng)} {random_field(rng)} {roger}{_last_field(rng)}"
    if kind < 0.96:
        return _free_text(rng)
    long_call = "".join(rng.choice(_SECOND + "/") for _ in range(6)) + _area_and_suffix(rng)
    return f"<...> {long_call} {rng.choice(('', 'RRR', 'RR73', '73'))}".strip()


def false_snr_db(rng: random.Random) -> int:
    """-24 to -18 dB, the weaker the likelier."""
    return round(rng.triangular(-24.4, -17.6, -22.0))


def false_dt_s(rng: random.Random) -> float:
    """Anywhere in the decoder's search range."""
    return rng.uniform(-2.4, 2.4)


def false_audio_hz(rng: random.Random) -> int:
    """Anywhere in the passband."""
    return rng.randint(200, 3000)


def random_field(rng: random.Random) -> str:
    """A random 28-bit value as a decoder prints it: a call, a hash, or a kind of CQ."""
    value = rng.random()
    if value < _CALL_SHARE:
        return _standard_call(rng) + ("/P" if rng.random() < 0.1 else "")
    if value < _CALL_SHARE + _HASH_SHARE:
        return "<...>"
    return f"CQ {''.join(rng.choice(_LETTERS) for _ in range(4)).strip()}".strip()


def _standard_call(rng: random.Random) -> str:
    return (rng.choice(_FIRST) + rng.choice(_SECOND) + _area_and_suffix(rng)).strip()


def _free_text(rng: random.Random) -> str:
    text = "".join(rng.choice(_FREE_TEXT) for _ in range(13))
    return re.sub(r"([0-9])(?=[A-PR-Z])", r"\1Q", text)[:13].strip(" ") or "Q"


def _area_and_suffix(rng: random.Random) -> str:
    return rng.choice(digits) + "Q" + rng.choice(_LETTERS) + rng.choice(_LETTERS)


def _last_field(rng: random.Random) -> str:
    value = rng.randrange(2**15)
    if value < _SQUARES:
        return _random_square(rng)
    if value < _SQUARES + 4:
        return ("", "RRR", "RR73", "73")[value - _SQUARES]
    return f"{value - _SQUARES - 35:+03d}"


def _random_square(rng: random.Random) -> str:
    letters = ascii_uppercase[:18]
    return rng.choice(letters) + rng.choice(letters) + rng.choice(digits) + rng.choice(digits)
