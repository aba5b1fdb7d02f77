"""Which column of numbers is which, by the numbers alone: their range, their steps and how they spread.

Each role gives each column a score from 0 to 1. The thresholds are the trade's habits (common practice, no
source): reports in 2500 Hz lie between -30 and +30 dB and differ from line to line; time offsets are
fractions of a second around zero; audio lies between 100 and 5000 Hz all over the passband; radio frequencies
lie in an amateur band.
"""

import re
import statistics
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from sentinel.trade.bandplan import band_of

ROLES = ("freq_mhz", "audio_hz", "dt_s", "snr_db")
# Below it a column is rather something else; two columns whose scores are this close cannot be told apart.
LEAST_SCORE = 0.5
RIVAL_SHARE = 0.85
# A column is numeric if nearly all of its texts are: the rest is damage, or own transmissions without values.
_NUMERIC_SHARE = 0.9

_NUMBER = re.compile(r"([^0-9]*?)([+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+))([^0-9]*)")


@dataclass(frozen=True, slots=True)
class Numbers:
    """A numeric column: what stands around every number, and the numbers (``None`` where there is none)."""

    before: str
    behind: str
    values: tuple[float | None, ...]
    decimals: int

    @property
    def known(self) -> list[float]:
        return [value for value in self.values if value is not None]


def numbers_of(texts: Sequence[str]) -> Numbers | None:
    """The column as numbers, if nearly all of its texts are one number with the same text around it."""
    found = [_NUMBER.fullmatch(text) for text in texts]
    around = Counter((match[1], match[3]) for match in found if match)
    if not around:
        return None
    (before, behind), _ = around.most_common(1)[0]
    cores = [match[2] if match and (match[1], match[3]) == (before, behind) else None for match in found]
    known = [core for core in cores if core is not None]
    if len(known) < _NUMERIC_SHARE * sum(bool(text) for text in texts) or before[-1:] in ("+", "-", ".", ","):
        return None
    decimals = Counter(len(re.split("[.,]", core)[1]) if re.search("[.,]", core) else 0 for core in known)
    values = tuple(None if core is None else float(core.replace(",", ".")) for core in cores)
    return Numbers(before, behind, values, decimals.most_common(1)[0][0])


def scores(column: Numbers) -> dict[str, float]:
    """How well the column fits each role."""
    values = column.known
    if len(set(values)) == 1:
        return {"freq_mhz": _freq_score(values, column.decimals)}
    return {
        "freq_mhz": _freq_score(values, column.decimals),
        "audio_hz": _audio_score(values, column.decimals),
        "dt_s": _dt_score(values, column.decimals),
        "snr_db": _snr_score(values, column.decimals),
    }


def _share(values: Sequence[float], low: float, high: float) -> float:
    return sum(low <= value <= high for value in values) / len(values)


def _freq_score(values: Sequence[float], decimals: int) -> float:
    """MHz with at least two decimals, kHz or Hz, in an amateur band."""
    if statistics.median(values) < 10_000 and decimals < 2:
        return 0.0
    megahertz = [value if value < 1e4 else value / 1e3 if value < 1e7 else value / 1e6 for value in values]
    in_band = sum(band_of(value) is not None for value in megahertz) / len(values)
    return in_band if in_band >= 0.9 else 0.0


def _audio_score(values: Sequence[float], decimals: int) -> float:
    if _share(values, 0, 6000) < 0.97 or max(values) < 600 or max(values) - min(values) < 300:
        return 0.0
    if _is_rising(values):
        return 0.0  # a line counter
    usual = _share(values, 100, 3500) + 0.5 * _share(values, 3500.1, 6000)
    return usual * (1.0 if decimals <= 1 else 0.7)


def _dt_score(values: Sequence[float], decimals: int) -> float:
    if decimals == 0 or _share(values, -10, 10) < 0.97:
        return 0.0
    narrow = min(1.0, max(0.0, (2.5 - statistics.pstdev(values)) / 1.2))
    around_zero = 1.0 if min(values) < 0 < max(values) else 0.75 if min(map(abs, values)) <= 0.25 else 0.3
    return _share(values, -2.7, 2.7) * narrow * around_zero


def _snr_score(values: Sequence[float], decimals: int) -> float:
    if _share(values, -60, 60) < 0.97 or _is_rising(values):
        return 0.0
    spread = min(1.0, max(0.0, (statistics.pstdev(values) - 1.0) / 2.5))
    negative = _share(values, -60, -0.01)
    signs = 1.0 if negative >= 0.15 else 0.6 if negative > 0 else 0.55
    return _share(values, -32, 45) * spread * signs * (1.0 if decimals <= 1 else 0.3)


def _is_rising(values: Sequence[float]) -> bool:
    """True for a counter: never falling, and more than a few steps."""
    steps = [later - earlier for earlier, later in pairwise(values)]
    return len(set(values)) > 4 and sum(step >= 0 for step in steps) >= 0.97 * len(steps)


def follows_places(column: Numbers, places: Sequence[str | None], senders: Sequence[str]) -> bool:
    """True for a distance or a bearing: different stations in one square always have the same number.

    ``places`` are the senders' squares, where they are known from any of their messages.
    """
    by_place: dict[str, set[float]] = defaultdict(set)
    stations: dict[str, set[str]] = defaultdict(set)
    for value, place, sender in zip(column.values, places, senders, strict=True):
        if value is not None and place is not None:
            by_place[place].add(value)
            stations[place].add(sender)
    shared = [place for place in by_place if len(stations[place]) > 1]
    # small numbers, and few of them, such as a frequency to the kHz, meet by chance
    is_frequency = _freq_score(column.known, column.decimals) > 0
    could_be_far = len(set(column.known)) > 5 and max(column.known) >= 100 and not is_frequency
    meet = len(shared) >= 2 or any(len(stations[place]) > 2 for place in shared)
    return could_be_far and meet and all(len(by_place[place]) == 1 for place in shared)


@dataclass(frozen=True, slots=True)
class Rivalry:
    """Two columns that fit one role equally well."""

    role: str
    columns: tuple[int, int]


def assign(columns: dict[int, Numbers], senders: Sequence[str]) -> dict[str, int] | Rivalry:
    """The column of each role that has one, or the first rivalry that their values cannot settle.

    ``senders`` are the stations heard, line by line.
    """
    table = {place: scores(column) for place, column in columns.items()}
    given: dict[str, int] = {}
    for role in ROLES:
        fits = sorted(
            ((table[place].get(role, 0.0), -place) for place in table if place not in given.values()),
            reverse=True,
        )
        fits = [(score, place) for score, place in fits if score >= LEAST_SCORE]
        if not fits:
            continue
        best = -fits[0][1]
        for score, place in fits[1:]:
            if score < RIVAL_SHARE * fits[0][0]:
                break
            if columns[-place].values != columns[best].values and _best_role(table[-place]) == role:
                settled = _by_unit(role, columns[best], columns[-place])
                if settled is None:
                    settled = _by_wandering(columns[best], columns[-place], senders)
                if settled is None:
                    return Rivalry(role, (best, -place))
                best = -place if settled == 1 else best
        given[role] = best
    return given


def _best_role(fits: dict[str, float]) -> str:
    return max(fits, key=lambda role: fits[role])


def _by_wandering(first: Numbers, second: Numbers, senders: Sequence[str]) -> int | None:
    """Which of two columns changes for one and the same station, as sound does and its distance does not."""
    wanders = [_wanders(column, senders) for column in (first, second)]
    return None if wanders[0] == wanders[1] else wanders.index(True)


def _wanders(column: Numbers, senders: Sequence[str]) -> bool:
    by_sender: dict[str, set[float]] = defaultdict(set)
    for value, sender in zip(column.values, senders, strict=True):
        if value is not None and sender:
            by_sender[sender].add(value)
    return any(len(values) > 1 for values in by_sender.values())


_UNITS = {"snr_db": "db", "audio_hz": "hz", "freq_mhz": "hz", "dt_s": "s"}


def _by_unit(role: str, first: Numbers, second: Numbers) -> int | None:
    """Which of two equal columns carries the unit of the role, if only one does."""
    units = [column.behind.strip().lower().endswith(_UNITS[role]) for column in (first, second)]
    return None if units[0] == units[1] else units.index(True)
