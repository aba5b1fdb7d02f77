"""Every kind of scenario by name. ``build(kind, seed)`` is deterministic.

Seeds from ``RESERVED_FROM`` on are never looked at while the watch is tuned; published figures use them.
"""

from collections.abc import Callable

from sentinel.rehearsal import ailing_days, open_days, quiet_days
from sentinel.rehearsal.heard import Scenario

RESERVED_FROM = 10_000

Kind = Callable[[str, int], Scenario]
NEVER_OPEN: dict[str, Kind] = {
    "dead-band": quiet_days.dead_band,
    "meteor-night": quiet_days.meteor_night,
    "local-contest": quiet_days.local_contest,
    "far-neighbours": quiet_days.far_neighbours,
    "rr73-traffic": quiet_days.rr73_traffic,
    "false-flood": quiet_days.false_flood,
    "aircraft-day": quiet_days.aircraft_day,
    "lone-station": quiet_days.lone_station,
    "own-transmissions": quiet_days.own_transmissions,
}
OPENINGS: dict[str, Kind] = {
    "es": open_days.sporadic_e,
    "es-short": open_days.short,
    "es-fading": open_days.fading,
    "es-two": open_days.two_at_once,
    "es-several-hops": open_days.several_hops,
    "es-in-contest": open_days.in_contest,
    "es-in-flood": open_days.in_flood,
    "es-few-and-ghosts": open_days.few_with_ghosts,
    "f2": open_days.f2,
    "transequatorial": open_days.transequatorial,
    "far-alone": open_days.far_alone,
    "tropo": open_days.tropo,
    "aurora": open_days.aurora,
    "regulars": open_days.regulars,
}
AILING: dict[str, Kind] = {
    "stall": ailing_days.stall,
    "silent-canary": ailing_days.silent_canary,
    "drifting-clock": ailing_days.drifting_clock,
}
KINDS: dict[str, Kind] = {**NEVER_OPEN, **OPENINGS, **AILING}


def build(kind: str, seed: int) -> Scenario:
    """The scenario of that kind and seed; KeyError for an unknown kind."""
    return KINDS[kind](kind, seed)
