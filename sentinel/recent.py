"""The decodes of the last hour or so, and as text: what the watch is begun again from.

The core is deterministic, so feeding it what it was fed before is the simplest way back to where it stood,
after a restart and after an upgrade. Kept whole is what any of its memories may reach back to. Of what is
older, only what living openings began with is kept whole, so that they get the same names again, and of each
station one decode every two minutes, so that no opening ends on the way. Pure.
"""

import json
import math
from collections.abc import Iterable, Iterator, Sequence, Set
from dataclasses import dataclass
from typing import Any

from sentinel.trade.message import parse_message
from sentinel.watch.decode import Decode
from sentinel.watch.settings import WatchSettings

MEMORY_S = 75 * 60.0
"""The longest memory of the core counts a station's comings and goings over 70 minutes."""
THIN_S = 120.0
"""A station heard throughout is fed again this often: openings bear nearly eight minutes of silence."""
THIN_EVERY_S = 300.0
MOST_KEPT = 12_000
"""An hour of the most crowded band has 9,600; about 4 MB, fed again in seconds."""
LEAST_REWRITTEN = 500
"""So many lines are added before the text is written anew: seldom, and never much more than is kept."""


@dataclass(frozen=True, slots=True)
class Beginning:
    """What a living opening was recognised by: heard from ``since_s`` until it was told at ``told_s``."""

    since_s: float
    told_s: float


class RecentDecodes:
    """Keeps the decodes in the order in which they were fed. ``spared`` calls keep their newest decode."""

    def __init__(self, settings: WatchSettings, decodes: Iterable[Decode] = ()) -> None:
        self._memory_s = max(MEMORY_S, settings.window_s + MEMORY_S / 2)
        self._spared = settings.receiver.canaries
        self._decodes: list[Decode] = list(decodes)
        self._new: list[Decode] = []
        self._written: float = len(self._decodes)
        self._thinned_s = -math.inf

    def __iter__(self) -> Iterator[Decode]:
        return iter(self._decodes)

    def __len__(self) -> int:
        return len(self._decodes)

    def add(self, decode: Decode) -> None:
        """The core is fed this one now."""
        self._decodes.append(decode)
        self._new.append(decode)

    def rewrite(self) -> None:
        """The text that was taken so far is not to be kept."""
        self._written = math.inf

    def thin(self, now_s: float, beginnings: Sequence[Beginning] = (), far_call: str | None = None) -> None:
        """Drop what nothing needs any more; ``far_call`` is the far station that was heard last."""
        is_full = len(self._decodes) > MOST_KEPT
        if now_s < self._thinned_s + THIN_EVERY_S and not is_full:
            return
        self._thinned_s = now_s
        spared = self._spared | ({far_call} if far_call else set())
        kept = list(_thinned(self._decodes, now_s - self._memory_s, beginnings, spared))
        self._decodes = kept[-MOST_KEPT * 3 // 4 :] if len(kept) > MOST_KEPT else kept

    def take_lines(self) -> tuple[tuple[str, ...], bool]:
        """The text of what is new since the last call; with True it is the text of all that is kept."""
        new, self._new = self._new, []
        self._written += len(new)
        is_whole = self._written > 2 * len(self._decodes) + LEAST_REWRITTEN
        if is_whole:
            new, self._written = self._decodes, len(self._decodes)
        return tuple(map(as_line, new)), is_whole


def _thinned(
    decodes: Sequence[Decode],
    oldest_s: float,
    beginnings: Sequence[Beginning],
    spared: Set[str],
) -> Iterator[Decode]:
    since_s = min((each.since_s for each in beginnings), default=math.inf)
    newest_of = {call: each for each in decodes if (call := _sender(each, oldest_s)) in spared}
    last_kept: dict[str | None, float] = {}
    for decode in decodes:
        if decode.at_s > oldest_s:
            yield decode
            continue
        call = _sender(decode, oldest_s)
        if any(each.since_s <= decode.at_s <= each.told_s for each in beginnings):
            is_kept = True
        else:
            is_kept = call is not None and decode.at_s >= last_kept.get(call, since_s - THIN_S) + THIN_S
        if is_kept or newest_of.get(call or "") is decode:
            last_kept[call] = decode.at_s
            yield decode


def _sender(decode: Decode, oldest_s: float) -> str | None:
    if decode.at_s > oldest_s:
        return None  # kept anyway: not worth the parsing
    sender = parse_message(decode.message, decode.mode).sender
    return None if sender is None else sender.base


def as_line(decode: Decode) -> str:
    """One decode as a line of JSON."""
    return json.dumps(
        [
            decode.at_s,
            decode.message,
            decode.snr_db,
            decode.dt_s,
            decode.audio_hz,
            decode.freq_mhz,
            decode.mode,
            decode.source,
            decode.has_low_confidence,
        ],
        separators=(",", ":"),
    )


def from_lines(lines: Iterable[str]) -> Iterator[Decode]:
    """The decodes again, each once; what is damaged is left out."""
    before: Decode | None = None
    for line in lines:
        decode = _from_line(line)
        if decode is not None and decode != before:
            before = decode
            yield decode


def _from_line(line: str) -> Decode | None:
    try:
        at_s, message, snr_db, dt_s, audio_hz, freq_mhz, mode, source, has_low_confidence = json.loads(line)
        return Decode(
            float(at_s),
            str(message),
            _maybe_number(snr_db),
            _maybe_number(dt_s),
            _maybe_number(audio_hz),
            _maybe_number(freq_mhz),
            None if mode is None else str(mode),
            str(source),
            bool(has_low_confidence),
        )
    except (ValueError, TypeError):
        return None


def _maybe_number(value: Any) -> float | None:
    return None if value is None else float(value)
