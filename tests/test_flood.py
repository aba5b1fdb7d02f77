"""One source that invents calls can neither fill the memory nor drive the true stations out."""

import os
import random
import resource
import string
from pathlib import Path

from sentinel.watch.bulletin import State
from sentinel.watch.decode import Decode
from sentinel.watch.settings import MAX_CANDIDATES, WatchSettings
from sentinel.watch.watch import Watch

START_S = 1_781_467_200.0  # 2026-06-14 20:00 UTC
TRUE = (("DL5QAB", "JO40"), ("G4QAA", "IO91"), ("F5QAB", "JN18"))
FLOOD_CALLS = 10_000
"""Many times the table's bound: what a million do, they do. With TEN_TO_THE_SIXTH=1 it is a million."""
BLOCK = 2_000
"""Invented calls a slot: a decoder prints some tens, so this is hostility, not a bad night."""
MOST_GROWTH_BYTES = 20_000_000


def resident_bytes() -> int:
    return int(Path("/proc/self/statm").read_text("ascii").split()[1]) * resource.getpagesize()


def invented(rng: random.Random) -> str:
    letters = string.ascii_uppercase
    prefix = rng.choice(("DL", "I", "F", "G", "JA", "W", "K", "VE", "PY", "UA", "ZS", "VK"))
    suffix = "Q" + rng.choice(letters) + rng.choice(letters)
    square = f"{rng.choice(letters[:18])}{rng.choice(letters[:18])}{rng.randrange(100):02d}"
    return f"CQ {prefix}{rng.randrange(10)}{suffix}/{rng.randrange(10)} {square}"


def test_invented_calls_stay_under_twenty_megabytes_and_leave_the_true_stations_in() -> None:
    calls = 1_000_000 if os.environ.get("TEN_TO_THE_SIXTH") == "1" else FLOOD_CALLS
    rng = random.Random(6)
    watch = Watch(WatchSettings("FN84ab"))
    at_s = START_S
    for slot in range(8):
        at_s = START_S + 15 * slot
        for number, (call, square) in enumerate(TRUE):
            if (slot + number) % 2 == 0:
                watch.feed(Decode(at_s, f"CQ {call} {square}", -8, 0.1, 900 + 100 * number))
    watch.tick(at_s + 1)
    assert watch.bulletin().state is State.OPEN
    before = resident_bytes()
    for block in range(calls // BLOCK):
        flood_s = at_s + 15 + 0.02 * block
        for _ in range(BLOCK):
            watch.feed(Decode(flood_s, invented(rng), -20, 0.1, rng.randrange(3000)))
    watch.tick(at_s + 15 + 0.02 * (calls // BLOCK))
    assert resident_bytes() - before < MOST_GROWTH_BYTES
    assert len(watch.hearing.candidates) <= MAX_CANDIDATES
    heard = {station.call for station in watch.bulletin().stations}
    assert {call for call, _ in TRUE} <= heard | set(watch.hearing.tracks)
