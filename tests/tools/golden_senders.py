"""Golden logs about who is heard: messages of every sort, modes, and homes elsewhere in the world."""

import random
from collections.abc import Iterator, Sequence
from string import ascii_uppercase, digits

from golden_evening import (
    LOCAL,
    SLOT_S,
    SOUTH_WEST,
    START_S,
    Station,
    at,
    calls,
    decoded,
    in_order,
    moved,
    opening,
    says,
    stations,
)
from golden_logs import GoldenLog, seconds

from sentinel.rehearsal.heard import Heard, Home

# name | what must be true | what it is about | the messages, each sent again and again
MESSAGES = """
own-transmissions | only quiet, no far station | Our own side, as decoders print it.
CQ VE1QZZ FN84 / DL5QAB VE1QZZ JN58 / CQ VE1QZZ/P JN58 / W4QAA VE1QZZ R-05
rr73 | only quiet, no far station | RR73 is the acknowledgement, not a square.
VE1QAB VE1QBC RR73 / VE1QBC VE1QAB RR73 / W4QAA VE1QBC RR73
called-not-heard | only quiet, no far station | Neighbours call stations that are not heard.
DL5QAB VE1QBC FN84 / <DL5QAB> VE1QBC R-07 / W4QAA VE1QAB 73 / K5QAI VE1QBC -12
free-text | only quiet, no far station | Words that look like calls, telemetry, greetings.
TNX BOB 73 GL / 123456789ABCDEF012 / W4QAA ES DL5QAB / CQ CQ CQ / NIL HRD DX JN58
hashed | open | Hashed calls: the resolved ones count, <...> names nobody.
<VE1QBC> PJ4/W4QAA RRR / <...> DL5QAB JN58 / <VE1QAB> K4QAB/P EM84 / VE1QBC <N4QAC> EM94 / <...> RR73
two-in-one | open | One message ends a contact and reports to another: the third call sends.
VE1QBC RR73; VE1QAB <KP4QAA> -08 / VE1QBC RR73; VE1QAB <KP4QAB> -11 / VE1QBC RR73; VE1QAB <KP4QAC> +02
portable-and-mobile | open | /P moves nothing, /MM has no place, a prefix says where.
CQ W4QAA/P EM83 / CQ K4QAB/QRP EM84 / CQ N4QAC/4 EM94 / CQ W1QAM/MM / CQ KP4/W1QAN FK68
called-by-kind | open | CQ with a region, a frequency, a contest.
CQ DX W4QAA EM83 / CQ NA K4QAB EM84 / CQ 313 N4QAC EM94 / CQ TEST W4QAD FM05 / QRZ K4QAE EM95
no-locators | open | Reports only: the prefix alone says where from.
VE1QBC W4QAA -12 / VE1QAB K4QAB R-07 / VE1QBC N4QAC +01 / VE1QAB W4QAD -15 / VE1QBC K4QAE RRR
contests | open | The exchanges of contests.
VE1QBC W4QAA R 579 GA / VE1QBC K4QAB 6A GA / VE1QAB N4QAC R 17B SC / <VE1QBC> <K4QAE> R 570007 EM95AA
lower-case | open | Everything in small letters.
cq w4qaa em83 / cq k4qab em84 / cq n4qac em94 / cq w4qad fm05
annotations | open | Remarks of the decoder behind the message.
CQ W4QAA EM83   a1 united states / CQ K4QAB EM84   a2  united states / CQ N4QAC EM94  ? / CQ W4QAD FM05   x
"""


def sender_logs() -> Iterator[GoldenLog]:
    """All of them."""
    yield from _messages()
    yield from _modes()
    yield from _places()


def _messages() -> Iterator[GoldenLog]:
    table = MESSAGES.strip().splitlines()
    for head, listed in zip(table[::2], table[1::2], strict=True):
        name, must, about = head.split(" | ")
        sent = [
            says(message, at(10 + number / 4), at(30), 60.0, audio_hz=500 + 200 * number)
            for number, message in enumerate(listed.split(" / "))
        ]
        yield decoded(name, must, about, in_order(calls(LOCAL, 0, 60), *sent))
    about = "Fifteen hundred distinct invented calls from everywhere, once each."
    yield decoded("flood-of-calls", "never open", about, in_order(calls(LOCAL, 0, 60), flood(1500)))
    trickle = [line for number in range(45) for line in moved(flood(1), 120.0 * number - SLOT_S)]
    yield decoded("false-only", "never open", "Nothing but false decodes.", trickle, until_s=at(100))


def flood(count: int) -> list[Heard]:
    """So many calls within an hour, each once, as weak as false decodes are."""
    rng = random.Random("flood")
    return [_false(rng, START_S + SLOT_S * rng.randrange(240)) for _ in range(count)]


def _false(rng: random.Random, at_s: float) -> Heard:
    prefix = "".join(rng.choices(ascii_uppercase, k=2)) + rng.choice(digits)
    call = prefix + "Q" + "".join(rng.choices(ascii_uppercase, k=2))
    square = "".join(rng.choices(ascii_uppercase[:18], k=2) + rng.choices(digits, k=2))
    snr_db, dt_s = rng.randint(-24, -18), round(rng.uniform(-2, 2), 1)
    return Heard(int(at_s), f"CQ {call} {square}", snr_db, dt_s, rng.randint(200, 3000))


# --- modes ------------------------------------------------------------------------------------------


def _modes() -> Iterator[GoldenLog]:
    south_west = [f"{call} {square}" for call, square in SOUTH_WEST]
    ft4 = _spoken("FT4", 7.5, "CQ VE1QBC FN84", [f"CQ {each}" for each in south_west[:4]])
    yield _in_mode("ft4", "Slots of 7.5 s.", ft4)
    wspr = _spoken("WSPR", 120, "VE1QBC FN84 37", [f"{each} 30" for each in south_west], -20)
    yield _in_mode("wspr", "Two-minute slots; a message names only its sender.", wspr)
    morse = ["VVV DE W4QAA/B EM83", "DE K4QAB/B EM84", "CQ CQ DE N4QAC N4QAC EM94 K", "TEST W4QAD W4QAD"]
    beacons = _spoken("CW", 30, "VVV DE VE1QBC/B FN84", [*morse, "VE1QBC DE K4QAE K4QAE 599 K"], 8)
    yield _in_mode("beacons", "Beacons and Morse.", beacons)
    mixed = in_order(
        _spoken("FT8", 15, "CQ VE1QBC FN84", ["CQ W4QAA EM83"]),
        _spoken("FT4", 7.5, "CQ VE1QBC FN84", ["CQ K4QAB EM84"]),
        _spoken("WSPR", 120, "VE1QBC FN84 37", ["N4QAC EM94 37"], -20),
        _spoken("CW", 30, "VVV DE VE1QBC/B FN84", ["VVV DE W4QAD/B FM05"], 8),
    )
    yield _in_mode("mixed-modes", "FT8, FT4, WSPR and Morse side by side.", mixed)


def _spoken(mode: str, slot_s: float, local: str, far: Sequence[str], snr_db: int = -5) -> list[Heard]:
    """A local station for an hour, and far ones from the 10th minute to the 40th."""
    sent = [
        says(message, at(10) + slot_s * (number % 2), at(40), 2 * slot_s, snr_db=snr_db, mode=mode)
        for number, message in enumerate(far)
    ]
    return in_order(says(local, at(0), at(60), 4 * slot_s, mode=mode), *sent)


def _in_mode(name: str, about: str, heard: Sequence[Heard]) -> GoldenLog:
    layout = "{utc:%Y-%m-%dT%H:%M:%SZ} {mode} {snr_db} {message}"
    return decoded(name, "open once", about, heard, layout=layout, until_s=at(90))


# --- other places and bands -------------------------------------------------------------------------

BALKANS = stations("SV1QAB KM17, SV2QAC KN10, LZ1QAD KN12, YO3QAE KN34")
AUSTRALIA = stations("VK4QAB QG62, VK4QAC QG56, VK4QAD QH30, VK4QAE QG48")
PACIFIC = stations("5W1QAB AH46, ZK3QAC AI30, 3D2QAD RH91, A35QAE AG28")
SCANDINAVIA = stations("SM5QAB JO89, LA5QAC JO59, OH2QAD KP20, OZ5QAE JO65")


def _places() -> Iterator[GoldenLog]:
    melbourne, auckland = Home("Melbourne", "QF22le", "VK3QZZ"), Home("Auckland", "RF73jc", "ZL1QZZ")
    tokyo, munich = Home("Tokyo", "PM95vq", "JA1QZZ"), Home("Munich", "JN58td", "DL5QZZ")
    svalbard = Home("Longyearbyen", "JQ78tf", "JW5QZZ")
    about = "Sporadic E over Australia in December."
    yield _elsewhere(
        "southern-summer", about, melbourne, ("VK3QAA", "QF21"), AUSTRALIA, "2025-12-20T00:30:00"
    )
    about = "The path crosses 180 degrees."
    yield _elsewhere(
        "over-the-date-line", about, auckland, ("ZL1QAA", "RF72"), PACIFIC, "2025-12-28T22:00:00"
    )
    about = "Home at 78 degrees north."
    yield _elsewhere("far-north", about, svalbard, ("JW5QAA", "JQ78"), SCANDINAVIA, "2026-06-20T10:00:00")
    about = "Across the dip equator at an equinox."
    yield _elsewhere(
        "over-the-equator", about, tokyo, ("JA1QAA", "PM95"), AUSTRALIA[:3], "2026-03-22T06:30:00"
    )
    for band in ("10m", "4m", "2m"):
        about, extra = f"The band is {band}.", f'[band]\nname = "{band}"\n'
        near, start = ("DL5QAA", "JN58"), "2026-06-24T15:00:00"
        yield _elsewhere(f"band-{band}", about, munich, near, BALKANS, start, extra)


def _elsewhere(
    name: str, about: str, home: Home, near: Station, far: Sequence[Station], start: str, extra: str = ""
) -> GoldenLog:
    """A local station, and an opening from the 15th minute to the 35th."""
    by_s = seconds(start) - START_S
    heard = moved(in_order(calls(near, 0, 70), opening(15, 35, far)), by_s)
    return decoded(name, "open once", about, heard, extra=extra, home=home, until_s=by_s + at(90))
