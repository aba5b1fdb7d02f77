"""From one watch to the next: what the parts of the core have learned over days, collected and taken up."""

from sentinel.watch.hearing import Hearing
from sentinel.watch.learned import MOST_FAR, MOST_LOCATORS, MOST_NEAR, MOST_TOLD, Learned, newest
from sentinel.watch.notable import NotableFinder
from sentinel.watch.receiver import Receiver
from sentinel.watch.usual import PingHabits


def learned_by(as_of_s: float, hearing: Hearing, receiver: Receiver, notables: NotableFinder) -> Learned:
    """What these have learned by ``as_of_s``."""
    pings, neighbours = hearing.usual.habits, receiver.locals
    return Learned(
        as_of_s=as_of_s,
        far_hours=newest(hearing.habits.busy(), MOST_FAR),
        near_hours=newest(neighbours.habits(), MOST_NEAR),
        watched_days=hearing.habits.watched_days,
        watched_hours=dict(neighbours.watched_hours),
        near_last_at_s=neighbours.last_at_s,
        silence=neighbours.silence,
        pings_per_min=pings.per_min,
        ping_hour=pings.hour,
        pings_in_hour=pings.in_hour,
        lines_since_s=pings.lines_since_s,
        last_line_at_s=receiver.last_line_at_s,
        last_decode_at_s=receiver.last_decode_at_s,
        locators=newest(hearing.gazetteer.near, MOST_LOCATORS),
        told=notables.told[-MOST_TOLD:],
        told_count=notables.told_count,
        clock=receiver.clock,
        is_clock_stale=receiver.is_clock_stale,
    )


def take_up(learned: Learned, hearing: Hearing, receiver: Receiver, notables: NotableFinder) -> None:
    """Let these go on from what a watch before has learned."""
    hearing.habits.take_up(learned.far_hours, learned.watched_days)
    hearing.usual.take_up(
        PingHabits(
            learned.pings_per_min,
            learned.ping_hour,
            learned.pings_in_hour,
            learned.lines_since_s,
        ),
        learned.as_of_s,
    )
    hearing.gazetteer.take_up(learned.locators)
    receiver.locals.take_up(
        learned.near_hours, learned.watched_hours, learned.near_last_at_s, learned.silence
    )
    receiver.last_line_at_s, receiver.last_decode_at_s = learned.last_line_at_s, learned.last_decode_at_s
    receiver.clock, receiver.is_clock_stale = learned.clock, learned.is_clock_stale
    notables.take_up(learned.told, learned.told_count)
