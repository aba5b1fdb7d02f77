"""Has something started? A running likelihood ratio of 'open' against 'usual', one area at a time.

Usual far reception is a meteor ping: one station, one or two of its transmissions, then nothing. In an
opening the same stations come back, transmission after transmission, and new ones join them. So each
decode is asked how much likelier it is in an opening than as usual, and the logarithms (nats) are added:

* a newcomer:      ln(1 + OPEN_PER_MIN / usual);
* a repetition:    ln p + misses ln(1 - p) - ln(usual chance of hearing it again after such a gap);
* a newcomer that is not heard again within RETURN_S: NO_RETURN;
* time passing:    - OPEN_PER_MIN a minute, the newcomers that an opening would have brought.

The sum never falls below zero (a CUSUM: Page 1954, Lucas 1985), so that long silence does not have to be
made up for. Several stations in one slot may share one long meteor trail, so each next one counts
SHARED_TRAIL of the one before. As a likelihood ratio exceeds e^h by chance at most once in e^h starts, the
bar for 'open' is h = BAR + BAR_PER_RATE ln(1 + usual pings an hour): the more starts an hour, the higher.
"""

from collections.abc import Iterable
from math import log

OPEN_PER_MIN = 1.0
"""Newcomers a minute that a young opening brings; 0.5 to 2 detect within seconds of each other."""
RETURNING_PER_MIN = 0.3
"""How often an opening would bring up a station that is not heard all the time."""
HEARD_AGAIN = 0.6
"""Share of its transmissions at which a station is heard while the path is open, fading included."""
USUAL_AGAIN = (0.20, 0.05)
"""Chance that a ping is still there at the station's next transmission, and at each one after that:
pings last one or two slots (common practice), three are rare."""
USUAL_RETURN_FLOOR = 0.012
"""Chance in 30 s that a station just pinged is pinged anew: who is pinged once is more often than not a big
station, and those are pinged every hour or half hour on an ordinary night."""
SHARING_STATIONS = 15
"""Pings are shared out among at least so many stations on the air."""
NO_RETURN = log(0.35 / 0.80)
"""Share of stations heard once and not again soon: in an opening (tuning about, fading), and of pings."""
LEAST_GAP = 0.75
"""Of a period: repetitions nearer than this to the last one that counted do not count. A station leaves every
other slot to its partner, so two slots in a row are one witness."""
MISS_CAP = 6
"""Misses counted against a repetition: a station that paused for three minutes is not blamed for more."""
SHARED_TRAIL = 0.75
"""Discount for each further station in one slot: few trails serve several stations at once."""
BAR = 10.0
"""By Ville's inequality at most one start in e^10 = 22,000 passes by chance: at two starts an hour one in 460
days, before the rules of ``verdict``. What decides is what no model holds, trails and aircraft that serve
several stations: 8.5 brought two false openings in 213 invented days, and 10 costs a slot in the median."""
BAR_PER_RATE = 2.0
"""1 would do if pings were strangers to each other; but the same big stations are pinged again and again."""
EVIDENCE_CAP = 40.0


def newcomer_nats(usual_per_min: float, came_up_per_hour: float = 0.0) -> float:
    """Evidence of one newly heard station where ``usual_per_min`` are usual.

    ``came_up_per_hour``: how often this very station came up in the last hour; then it is hardly new.
    """
    nats = log(1.0 + OPEN_PER_MIN / usual_per_min)
    if came_up_per_hour > 0.0:
        nats = min(nats, log(1.0 + RETURNING_PER_MIN * 60.0 / came_up_per_hour))
    return nats


def usual_return(usual_per_min: float, stations_lately: int) -> float:
    """Chance in one transmission period (30 s) that a given station is pinged anew."""
    return max(USUAL_RETURN_FLOOR, 0.5 * usual_per_min / max(SHARING_STATIONS, stations_lately))


def repetition_nats(gap_s: float, period_s: float, run: int, usual_return_chance: float) -> float:
    """Evidence of hearing a station again.

    ``gap_s`` since it was last heard, ``period_s`` between its transmissions, ``run`` how many
    transmissions in a row it had been heard before this one (1: once).
    """
    opportunities = max(1, round(gap_s / period_s))
    misses = min(MISS_CAP, opportunities - 1)
    if_open = log(HEARD_AGAIN) + misses * log(1.0 - HEARD_AGAIN)
    if opportunities == 1:
        return if_open - log(USUAL_AGAIN[min(run, len(USUAL_AGAIN)) - 1])
    return if_open - log(usual_return_chance)


def combined(nats: Iterable[float]) -> float:
    """What several stations in one slot add up to, strongest first."""
    total, weight = 0.0, 1.0
    for value in sorted(nats, reverse=True):
        total += weight * value
        weight *= SHARED_TRAIL
    return total


def bar(usual_per_min: float) -> float:
    """The evidence in nats at which an area is called open."""
    return BAR + BAR_PER_RATE * log(1.0 + 60.0 * usual_per_min)
