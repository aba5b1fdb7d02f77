"""When to refresh the glass, and how: the vendors' rules as one pure function.

Their precautions for e-paper: at least 180 s between full refreshes, at least one a day, a full one after at
most 10 partial ones, and never partial ones only. Between refreshes the glass sleeps: the driver sees to it.
Times are monotonic seconds.
"""

from dataclasses import dataclass, replace
from enum import IntEnum

from sentinel.panel.glass import Refresh
from sentinel.watch.bulletin import Bulletin


class Change(IntEnum):
    """How much a bulletin differs from the one that the glass shows, for the eye of the operator."""

    NOTHING = 0
    TIMES = 1  # times, ages, wording
    NEWS = 2  # headings, counts, health, other bands
    STATE = 3  # the state itself: the whole picture looks different


def change_between(shown: Bulletin | None, now: Bulletin) -> Change:
    """How much there is to show; everything, where nothing is shown yet."""
    if shown is None or (shown.state, shown.blind_reason) != (now.state, now.blind_reason):
        return Change.STATE
    if _news(shown) != _news(now):
        return Change.NEWS
    return Change.NOTHING if shown == now else Change.TIMES


def _news(bulletin: Bulletin) -> tuple[object, ...]:
    parts = tuple((part.name, part.is_well) for part in bulletin.parts)
    living = tuple((opening.id, opening.ended_at_s is None) for opening in bulletin.openings)
    others = bulletin.other_bands
    return bulletin.headings, bulletin.far_stations, bulletin.is_acknowledged, parts, living, others


@dataclass(frozen=True, slots=True)
class Rules:
    """The limits. The two gaps between partial refreshes are ours: they spare the glass and the eye."""

    full_gap_s: float = 180.0
    full_at_least_every_s: float = 86_400.0
    most_partials: int = 10
    news_gap_s: float = 15.0  # one FT8 slot: more news than one a slot there is not
    times_gap_s: float = 300.0  # a clock and an age alone are not worth more


VENDORS_RULES = Rules()


@dataclass(frozen=True, slots=True)
class Refreshed:
    """What has been done so far."""

    last_full_s: float | None = None
    last_s: float | None = None
    partials: int = 0

    def after(self, refresh: Refresh, now_s: float) -> "Refreshed":
        """What has been done once a refresh has ended well."""
        if refresh is Refresh.FULL:
            return Refreshed(now_s, now_s, 0)
        if refresh is Refresh.PARTIAL:
            return replace(self, last_s=now_s, partials=self.partials + 1)
        return self


def decide(
    done: Refreshed, now_s: float, change: Change, can_be_partial: bool = True, rules: Rules = VENDORS_RULES
) -> Refresh:
    """The refresh that is due now, or none; what is put off comes due later.

    A new state gets a full refresh where one is allowed, so that no ghost of the old word remains.
    """
    if done.last_full_s is None or done.last_s is None:
        return Refresh.FULL
    since_full_s, since_s = now_s - done.last_full_s, now_s - done.last_s
    if since_full_s >= rules.full_at_least_every_s:
        return Refresh.FULL
    gap_s = {Change.NEWS: rules.news_gap_s, Change.TIMES: rules.times_gap_s}.get(change, 0.0)
    if change is Change.NOTHING or since_s < gap_s:
        return Refresh.NONE
    must_be_full = not can_be_partial or done.partials >= rules.most_partials
    if since_full_s >= rules.full_gap_s and (must_be_full or change is Change.STATE):
        return Refresh.FULL
    return Refresh.NONE if must_be_full else Refresh.PARTIAL
