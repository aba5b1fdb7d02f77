"""Makes tests/data/real_ft8.log and real_ft8.json: an invented evening that really went through FT8.

Forty minutes of an invented summer evening as heard at FN84: six stations nearby all the time, and from the
sixteenth minute on ten in the south-east of the United States, as one hop of sporadic E would bring them.
Every message is modulated, mixed with the others of its slot and with white noise at -5 to -15 dB in 2500 Hz,
and demodulated again (``ft8_air.py``). The log holds what came back, untouched, with what was missed missing
and false decodes included, one line a decode in the order of the demodulator:

    2025-06-14 22:16:15 | 1234.4 Hz | -9 dB | +0.2 s | CQ W4QAB EM73

The time is the slot's start; the SNR is this project's own measurement, since the library has none. The JSON
file holds what was sent. Both files in the repository were made with orion-sdr 0.0.74 and numpy 2.5.5 on
Python 3.12.1, in six minutes of one core. To make them again, with Python 3.12 or newer:

    pip install orion-sdr==0.0.74 numpy
    python tests/tools/make_real_ft8.py

All calls are invented (a suffix that begins with Q is never issued), each in its prefix's country.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from pathlib import Path

import numpy as np
from ft8_air import Heard, Transmission, free_text, hear, non_standard, play, standard

SEED = 20250614
HOME = "FN84"
BEGAN = datetime(2025, 6, 14, 22, 0, tzinfo=UTC)
SLOTS = 160
DATA = Path(__file__).parent.parent / "data"

WEAKEST_DB, STRONGEST_DB = -15.0, -5.0
UNHEARD = ("W9QBA", "K0QBB", "VE3QBC", "N5QBD", "W8QBE", "KA2QBF")
"""Partners beyond the horizon: they are called here and never transmit."""
GOODBYES = ("TNX QSO 73", "GL ES 73", "NICE EVENING")
REPLY_CHANCES = {"nobody": 0.35, "unheard": 0.3, "heard": 0.35}


@dataclass(frozen=True)
class Station:
    call: str
    locator: str
    audio_hz: float

    @property
    def is_standard(self) -> bool:
        return self.call != "K250QAJ"


NEAR = (
    Station("VE1QAA", "FN84", 620.0),
    Station("VE1QAB", "FN85", 1410.0),
    Station("VE9QAC", "FN66", 905.0),
    Station("VY2QAD", "FN86", 1980.0),
    Station("W1QAE", "FN54", 1130.0),
    Station("VE1QAF/P", "FN74", 2310.0),
)
FAR = (
    Station("W4QAB", "EM73", 488.0),
    Station("K4QAC", "EM65", 733.0),
    Station("N4QAD", "EM90", 1021.0),
    Station("W4QAM", "EM86", 1262.0),
    Station("K4QAF", "FM05", 1533.0),
    Station("AA4QAG", "EM84", 1660.0),
    Station("W4QAH/P", "EM95", 1777.0),
    Station("K250QAJ", "FM18", 1871.0),
    Station("N4QAL", "EL98", 2107.0),
    Station("W5QAK", "EM53", 2222.0),
)
CALLS = {station.call: station for station in NEAR + FAR}


def as_sent(call: str) -> str:
    """The call as a message of type 1 carries it: one that does not fit goes as its hash."""
    return f"<{call}>" if call in CALLS and not CALLS[call].is_standard else call


@dataclass(frozen=True)
class Run:
    """One station calls CQ, again and again, from one slot until another."""

    caller: str
    first_slot: int
    last_slot: int
    cq: str = "CQ"


RUNS = (
    Run("VE1QAA", 0, 50),
    Run("W1QAE", 5, 44, "CQ DX"),
    Run("VE1QAF/P", 20, 60),
    Run("K4QAC", 62, 64),  # alone and briefly: the band stirs
    Run("K4QAC", 74, 118),
    Run("VE1QAB", 70, 100, "CQ DX"),
    Run("W4QAB", 75, 126),
    Run("N4QAD", 78, 110),
    Run("W4QAH/P", 80, 122),
    Run("K250QAJ", 85, 120),
    Run("AA4QAG", 88, 128, "CQ DX"),
    Run("N4QAL", 92, 116),
    Run("W4QAM", 95, 106),
    Run("W5QAK", 97, 112),
    Run("K4QAF", 100, 118, "CQ DX"),
    Run("VE1QAA", 112, 158, "CQ DX"),
    Run("VY2QAD", 129, 159),
)
FAR_SLOTS = range(74, 130)


@dataclass(frozen=True)
class Sent:
    """One message on the air; ``sender`` is who sent it, ``is_named`` whether its decoded text says so."""

    slot: int
    sender: str
    text: str
    payload: bytes
    is_named: bool = True


class Evening:
    """Who says what in which slot. A station says one thing at a time, its partner answers next."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.sent: list[Sent] = []
        self.busy: set[tuple[str, int]] = set()

    def say(
        self, slot: int, sender: str, text: str, pack: Callable[[], bytes], is_named: bool = True
    ) -> None:
        if slot < SLOTS and sender in CALLS and (sender, slot) not in self.busy:
            self.busy.add((sender, slot))
            self.sent.append(Sent(slot, sender, text, pack(), is_named))

    def to(self, slot: int, sender: str, addressee: str, extra: str, *, in_full: bool = False) -> None:
        """One standard exchange, in which a long call goes as its hash, or in full where the protocol can."""
        if in_full:
            text = f"<{addressee}> {sender} {extra}"
            self.say(slot, sender, text, lambda: non_standard(sender, addressee, extra))
            return
        words = [as_sent(addressee), as_sent(sender), extra]
        text = " ".join(word for word in words if word)
        self.say(slot, sender, text, lambda: standard(addressee, sender, extra), sender in words)

    def call_cq(self, slot: int, run: Run) -> None:
        station = CALLS[run.caller]
        if station.is_standard:
            text = f"{run.cq} {station.call} {station.locator}"
            self.say(slot, station.call, text, lambda: standard(run.cq, station.call, station.locator))
        else:
            self.say(slot, station.call, f"CQ {station.call}", lambda: non_standard(station.call))

    def contact(self, slot: int, caller: str, answerer: str) -> None:
        """The trade's usual five messages after a CQ in ``slot``; at times a few kind words at the end."""
        is_long = not CALLS[caller].is_standard
        locator = CALLS[answerer].locator if answerer in CALLS and not is_long else ""
        self.to(slot + 1, answerer, caller, locator)
        self.to(slot + 2, caller, answerer, self.report())
        self.to(slot + 3, answerer, caller, "R" + self.report())
        self.to(slot + 4, caller, answerer, "RR73", in_full=is_long)
        if self.rng.random() < 0.3:
            text = str(self.rng.choice(GOODBYES))
            self.say(slot + 5, answerer, text, lambda: free_text(text), is_named=False)
        else:
            self.to(slot + 5, answerer, caller, "73")

    def report(self) -> str:
        return f"{int(self.rng.integers(-18, 3)):+03d}"

    def keep(self, run: Run) -> None:
        slot = run.first_slot
        while slot <= run.last_slot:
            self.call_cq(slot, run)
            answerer = self.answerer(slot, run.caller)
            if answerer is not None and slot + 5 <= run.last_slot:
                self.contact(slot, run.caller, answerer)
                slot += 4
            slot += 2

    def answerer(self, slot: int, caller: str) -> str | None:
        """Somebody free for the next six slots, somebody unheard, or nobody."""
        who = self.rng.choice(list(REPLY_CHANCES), p=list(REPLY_CHANCES.values()))
        if who == "nobody":
            return None
        if who == "unheard":
            return str(self.rng.choice(UNHEARD))
        runners = {run.caller for run in RUNS if run.first_slot - 6 <= slot <= run.last_slot}
        # nearby stations answer far ones and each other, far ones answer nearby ones
        callable_from = NEAR if CALLS[caller] in FAR else NEAR + (FAR if slot in FAR_SLOTS else ())
        free = [
            station.call for station in callable_from
            if station.call not in runners | {caller}
            and not any((station.call, slot + ahead) in self.busy for ahead in range(6))
        ]  # fmt: skip
        return str(self.rng.choice(free)) if free else None


def evening(rng: np.random.Generator) -> list[Sent]:
    """All that is sent, by slot."""
    told = Evening(rng)
    for run in RUNS:
        told.keep(run)
    return sorted(told.sent, key=lambda sent: (sent.slot, sent.sender))


def stamp(slot: int) -> datetime:
    return BEGAN + timedelta(seconds=15 * slot)


def on_air(
    messages: list[Sent], clock_errors_s: dict[str, float], rng: np.random.Generator
) -> list[Transmission]:
    """The slot's messages with this minute's strengths."""
    return [
        Transmission(
            sent.payload,
            round(float(rng.uniform(WEAKEST_DB, STRONGEST_DB)), 1),
            CALLS[sent.sender].audio_hz,
            round(clock_errors_s[sent.sender], 2),
        )
        for sent in messages
    ]


def truth_row(sent: Sent, signal: Transmission) -> dict[str, object]:
    return {
        "at": f"{stamp(sent.slot):%Y-%m-%dT%H:%M:%SZ}",
        "sender": sent.sender,
        "is_named": sent.is_named,
        "text": sent.text,
        "snr_db": signal.snr_db,
        "audio_hz": signal.audio_hz,
        "dt_s": signal.dt_s,
    }


def log_line(slot: int, heard: Heard) -> str:
    return (
        f"{stamp(slot):%Y-%m-%d %H:%M:%S} | {heard.audio_hz:.1f} Hz | {heard.snr_db:.0f} dB"
        f" | {heard.dt_s:+.1f} s | {heard.text}"
    )


def main() -> None:
    rng = np.random.default_rng(SEED)
    all_sent = evening(rng)
    clock_errors_s = {call: float(rng.uniform(-0.35, 0.45)) for call in CALLS}
    truth, log = [], []
    for slot in range(SLOTS):
        messages = [sent for sent in all_sent if sent.slot == slot]
        signals = on_air(messages, clock_errors_s, rng)
        truth += [truth_row(sent, signal) for sent, signal in zip(messages, signals, strict=True)]
        log += [log_line(slot, heard) for heard in hear(play(signals, rng))]
        print(f"slot {slot + 1} of {SLOTS}: {len(truth)} sent so far, {len(log)} lines", flush=True)
    made_with = {name: version(name) for name in ("orion-sdr", "numpy")}
    stations = {station.call: station.locator for station in NEAR + FAR}
    head = {"made_with": made_with, "seed": SEED, "home": HOME, "slots": SLOTS, "stations": stations}
    rows = ",\n  ".join(json.dumps(row) for row in truth)
    (DATA / "real_ft8.json").write_text(json.dumps(head)[:-1] + ',\n "sent": [\n  ' + rows + "\n ]}\n")
    (DATA / "real_ft8.log").write_text("\n".join(log) + "\n")


if __name__ == "__main__":
    main()
