"""Golden logs about what the states mean: when something is an opening, and when the receiver is blind."""

import random
from collections.abc import Iterable, Iterator

from golden_evening import (
    ALL_AROUND,
    BEYOND_4000_KM,
    LOCAL,
    OTHER_LOCAL,
    SLOT_S,
    SOUTH_WEST,
    START_S,
    at,
    calls,
    decoded,
    each_calls,
    in_order,
    opening,
    says,
    stations,
)
from golden_logs import GoldenLog

from sentinel.rehearsal.heard import Heard

EUROPE = [BEYOND_4000_KM, *stations("F5QAA JN18, G4QAB IO91, PA3QAC JO22")]
NORTH = stations("VE2QAM FO70, VE2QAN FO60, VE2QAO FO80, VE2QAP FO91")
NEAR = stations("W1QAA FN54, VE1QAC FN65, VE9QAD FN66")
HALF_NEAR = [*SOUTH_WEST[3:5], *stations("W3QAA FM19, W2QAB FN20")]


def verdict_logs() -> Iterator[GoldenLog]:
    """All of them."""
    yield from _states()
    yield from _receivers()


def _states() -> Iterator[GoldenLog]:
    dx = BEYOND_4000_KM
    yield _log("dx-alone", "open once", "One station beyond 4,000 km, for ten minutes.", calls(dx, 10, 20))
    about = "One station beyond 4,000 km in two slots only."
    yield _log("dx-twice", "never open, stirring", about, calls(dx, 10, 11))
    about = "Two far stations, however long."
    yield _log("two-far", "never open, stirring", about, each_calls(SOUTH_WEST[:2], 10, 40))
    yield _log("three-far", "open once", "Three far stations.", each_calls(SOUTH_WEST[:3], 10, 20))
    about = "Three far stations in a single slot."
    yield _log("three-in-one-slot", "never open", about, each_calls(SOUTH_WEST[:3], 10, 10.5))
    yield _log("pings-all-round", "never open", "Ten pings an hour from all round.", _pings())
    about = "Stations of 400 to 480 km."
    yield _log("just-too-near", "only quiet, no far station", about, each_calls(NEAR, 10, 30))
    about, extra = "The nearer half does not count.", "[verdict]\nfar_km = 1500\n"
    yield _log("far-is-1500", "never open", about, each_calls(HALF_NEAR, 10, 30), extra=extra)
    about, extra = "A station counts for five minutes.", "[verdict]\nwindow_min = 5\n"
    yield _log("window-of-5", "open once", about, opening(10, 20), extra=extra)
    about = "South-west, and later across the Atlantic."
    yield _log("two-openings", "opens twice", about, opening(5, 15), opening(55, 70, EUROPE))
    yield _log("across-north", "open once", "Stations on both sides of north.", opening(10, 40, NORTH))
    about = "An opening with six silent minutes in it."
    yield _log("gap-of-six-minutes", "open once", about, opening(10, 18), opening(24, 32))


def _log(name: str, must: str, about: str, *parts: Iterable[Heard], extra: str = "") -> GoldenLog:
    """A local station for 90 minutes, these, and half an hour of silence."""
    return decoded(name, must, about, in_order(calls(LOCAL, 0, 90), *parts), extra=extra, until_s=at(120))


def _pings() -> list[Heard]:
    rng = random.Random("pings")
    done: list[Heard] = []
    for _ in range(15):
        call, square = rng.choice(ALL_AROUND)
        call = call[:-2] + rng.choice("ABCDEFG") + rng.choice("ABCDEFG")
        at_s = START_S + SLOT_S * rng.randrange(350)
        done += says(f"CQ {call} {square}", at_s, at_s + rng.choice((30, 30, 60)), snr_db=-9)
    return done


def _receivers() -> Iterator[GoldenLog]:
    canary = f'[receiver]\ncanaries = ["{LOCAL[0]}"]\ncanary_silence_min = 20\n'
    heard = in_order(calls(LOCAL, 0, 30), calls(OTHER_LOCAL, 0, 90), calls(LOCAL, 70, 90))
    about = "The canary falls silent and comes back; another neighbour stays."
    yield decoded("canary-silent", "blind, never open", about, heard, extra=canary)
    about = "A canary that is never heard."
    yield decoded("canary-never", "blind", about, calls(OTHER_LOCAL, 0, 40), extra=canary)
    heard, about = in_order(calls(OTHER_LOCAL, 0, 50), opening(5, 50)), "A silent canary, but far stations."
    yield decoded("canary-gainsaid", "never blind, open once", about, heard, extra=canary, until_s=at(55))
    silence = "[receiver]\nline_silence_min = 10\n"
    heard, about = in_order(calls(LOCAL, 0, 30), calls(LOCAL, 50, 55)), "The decoder falls silent twice."
    yield decoded("lines-stop", "blind, never open", about, heard, extra=silence, until_s=at(80))
    heard = in_order(calls(LOCAL, 0, 20), opening(10, 20), calls(LOCAL, 60, 80))
    about = "The decoder falls silent in the middle of an opening."
    yield decoded("lines-stop-when-open", "blind, open once", about, heard, extra=silence, until_s=at(85))
    neighbours = stations("VE1QAB FN84, VE1QAC FN84, VE1QAD FN84, VE1QAE FN74, VE1QAF FN74")
    late = [
        calls(station, 0, 60, dt_s=2.3, audio_hz=400 + 300 * number)
        for number, station in enumerate(neighbours)
    ]
    about = "All signals come 2.3 s late: the computer's clock is off."
    yield decoded("clock-off", "blind", about, in_order(*late))
