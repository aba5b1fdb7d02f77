"""How far one decode is to be believed: a sum of evidence in nats, each part with its reason.

A false decode is a random bit pattern that passed a 14-bit checksum, printed as if it were a message. So
each part asks how often a random pattern looks like that, against how often a true decode does, and adds
the logarithm of the ratio. The shares of random patterns are those of CHECKVALUES (97.7 % of random
28-bit values print as a call, 72 % with an allocated prefix); the shares of true decodes are the
rehearsal's, rounded against the decode. The same call in another slot outweighs everything else.
"""

from dataclasses import dataclass
from math import exp, lgamma, log

CREDIBLE = 0.90
"""The cut, chosen from the trust distributions of true and false decodes in the rehearsal: tests/bench."""

# nats = ln(share of true decodes / share of false ones)
UNALLOCATED = log(0.002 / 0.28)
ALLOCATED = log(0.998 / 0.72)
AGREES = log(0.96 / 0.02)
DISAGREES = log(0.04 / 0.98)
REPEATED = log(0.7 / 1e-6)
KNOWN_PARTNER = log(0.30 / 1e-3)
CALLED_BY_OTHERS = log(0.30 / 1e-3)
HEARD_ON_OTHER_DAYS = log(0.30 / 2e-3)
SAME_REGION_LOCATOR = log(0.60 / 0.02)
SAME_REGION_PREFIX = log(0.60 / 0.08)
STRONG = log(0.45 / 0.06)
WEAK = log(0.25 / 0.75)
DOUBTED_BY_DECODER = log(0.05 / 0.80)
ODD_TIME_OFFSET = log(0.03 / 0.50)

LEAST_FALSE_PER_HOUR = 0.5
COMPANY_S = 60.0
"""Two transmission periods of FT8: who is on the air has called by then."""
COMPANY_IN_OPENING = 0.4
"""Share of an opening's newcomers that find company within that time."""
REGION_SHARE = 0.08
"""Share of false calls that fall into one region, the most crowded one taken (as in SAME_REGION_PREFIX)."""
MOST_EXPECTED = 0.1
"""From 75 false calls an hour on, company comes by itself."""
COMPANY_CAP = 4.0
"""No more than a locator that fits its prefix: companions may share their decoder's mistakes."""
MOST_NATS = 36.0
"""Beyond these odds a float would call it certain."""
STRONG_SNR_DB = -14.0
"""Well above FT8's 50 % point of -20.8 dB (PA3FWM, Electron 2015), where false candidates are rare."""
WEAK_SNR_DB = -19.0
ODD_OFFSET_S = 1.0
"""A true station's clock is within about a second of the others' (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What speaks for and against one decode; None where nothing can be said."""

    is_allocated: bool
    agrees_with_prefix: bool | None
    snr_db: float | None = None
    offset_from_usual_s: float | None = None
    is_partner_known: bool = False
    is_called_by_others: bool = False
    was_heard_other_days: bool = False
    has_low_confidence: bool = False


def credit(evidence: Evidence) -> tuple[float, tuple[str, ...]]:
    """The nats that one decode earns by itself, and the reasons, strongest claim first."""
    parts = [(value, reason) for value, reason in _parts(evidence) if value]
    parts.sort(key=lambda part: -abs(part[0]))
    return sum(value for value, _ in parts), tuple(reason for _, reason in parts)


def _parts(evidence: Evidence) -> list[tuple[float, str]]:
    parts = [
        (ALLOCATED, "allocated prefix") if evidence.is_allocated else (UNALLOCATED, "prefix not allocated")
    ]
    if evidence.agrees_with_prefix is not None:
        parts.append(
            (AGREES, "locator lies in its prefix's land")
            if evidence.agrees_with_prefix
            else (DISAGREES, "locator far from its prefix's land")
        )
    if evidence.snr_db is not None:
        if evidence.snr_db >= STRONG_SNR_DB:
            parts.append((STRONG, "well above the decoding threshold"))
        elif evidence.snr_db <= WEAK_SNR_DB:
            parts.append((WEAK, "near the decoding threshold"))
    if evidence.offset_from_usual_s is not None and abs(evidence.offset_from_usual_s) > ODD_OFFSET_S:
        parts.append((ODD_TIME_OFFSET, "odd time offset"))
    if evidence.is_partner_known:
        parts.append((KNOWN_PARTNER, "answers a station that is heard here"))
    if evidence.is_called_by_others:
        parts.append((CALLED_BY_OTHERS, "called by a station that is heard here"))
    if evidence.was_heard_other_days:
        parts.append((HEARD_ON_OTHER_DAYS, "heard here on other days"))
    if evidence.has_low_confidence:
        parts.append((DOUBTED_BY_DECODER, "doubted by the decoder"))
    return parts


def prior_nats(false_per_hour: float) -> float:
    """The odds that a far call heard for the first time is true, in nats, before looking at it.

    About one true newcomer an hour on a dead band (meteor pings; common practice, no source) against the
    false decodes an hour that the watch itself counts, which no source publishes; where it counted none,
    one in two hours is taken.
    """
    return -log(LEAST_FALSE_PER_HOUR + false_per_hour)


def company_nats(companions: int, false_per_hour: float) -> float:
    """What ``companions`` others, heard from its region within COMPANY_S, say for a far call, in nats.

    In an opening company is the rule; false decodes fall anywhere. So it is weighed against the chance that
    as many of those fall into one region in that time (Poisson). In a flood of them it says nothing.
    """
    expected = (LEAST_FALSE_PER_HOUR + false_per_hour) * COMPANY_S / 3600.0 * REGION_SHARE
    if not companions or expected > MOST_EXPECTED:
        return 0.0
    chance_nats = companions * log(expected) - lgamma(
        companions + 1
    )  # a crowd's chance is too small for a float
    return min(COMPANY_CAP, log(COMPANY_IN_OPENING) - chance_nats)


def probability(nats: float) -> float:
    """The probability that odds of ``nats`` stand for, in (0, 1)."""
    nats = max(-MOST_NATS, min(MOST_NATS, nats))
    return 1.0 / (1.0 + exp(-nats))
