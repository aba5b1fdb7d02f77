"""Golden logs from the invented band: every kind of scenario once or more, in different homes and layouts.

Only the stretch that matters is kept, and of crowds of neighbours a part, so that the logs stay small.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from golden_logs import GoldenLog, config, rendered, text

from sentinel.rehearsal.heard import Heard, Scenario
from sentinel.rehearsal.kinds import build
from sentinel.rehearsal.logs import LAYOUTS

HOUR_S = 3600.0
MOST_LINES = 1200
LAYOUTS_OF_LOGS = (
    *LAYOUTS,
    "{utc:%y%m%d-%H%M%S} {dt_s:+5.1f} {audio_hz:6d} {snr_db:4d}  {message}",
    "{mode},{utc:epoch},{snr_db},{dt_s},{audio_hz},{message}",
    "{utc:%Y%m%d %H%M%S} > {message} < {snr_db} dB",
    "{audio_hz:5d} {utc:%d %b %Y %H:%M:%S} {snr_db:+d} {message}",
    "<{utc:%Y-%m-%d %H:%M:%S}> <{freq_mhz}> <{snr_db}> <{message}>",
    "{utc:%j/%Y %H.%M.%S} {snr_db:3d} {dt_s:5.1f} {message}",
)


@dataclass(frozen=True, slots=True)
class Take:
    """Which scenario, and which hours of it. Of ground-wave lines one in ``thinned`` is kept."""

    kind: str
    seed: int
    must: str
    about: str
    from_h: float = 0.0
    to_h: float = 1e9
    thinned: int = 1


TAKES = (
    Take("dead-band", 3, "never open", "A day on which nothing is to be heard but neighbours."),
    Take("dead-band", 5, "never open", "Another one, at another home."),
    Take("meteor-night", 3, "never open", "Meteor pings before and after dawn."),
    Take("meteor-night", 2, "never open", "A night of pings in the eastern Mediterranean.", 0, 24, 3),
    Take("local-contest", 1, "never open", "Neighbours in a contest.", 9, 24),
    Take("local-contest", 3, "never open", "A contest of another form.", 6, 24),
    Take("far-neighbours", 1, "never open", "Neighbours work far stations that are not heard."),
    Take("rr73-traffic", 2, "never open", "Acknowledgements that look like a locator in the Arctic."),
    Take("false-flood", 3, "never open", "One false decode a minute and more, for hours."),
    Take("false-flood", 1, "never open", "Several a minute, in the southern hemisphere.", 6, 14),
    Take("aircraft-day", 1, "never open", "Aircraft scatter in a flight corridor."),
    Take("lone-station", 3, "open once", "Two far stations for long, a third once: an opening."),
    Take("lone-station", 2, "never open", "Two far stations are something, but no opening."),
    Take("own-transmissions", 3, "never open", "Home's own side of QSOs with stations that are not heard."),
    Take("es", 3, "open once, never blind", "Sporadic E for the better part of an hour."),
    Take("es", 4, "open, never blind", "Sporadic E elsewhere."),
    Take("es-short", 2, "open once", "Sporadic E for a few minutes."),
    Take("es-short", 1, "open once", "The same at another home."),
    Take("es-fading", 1, "open", "Deep fades in which nothing comes through."),
    Take("es-two", 1, "open, opens twice", "Two directions at once."),
    Take("es-several-hops", 3, "open", "Sporadic E in several hops, with the stations along the way."),
    Take("es-in-contest", 3, "open", "Sporadic E while neighbours hold a contest.", 0, 2.7, 8),
    Take("es-in-flood", 1, "open", "Sporadic E in a flood of false decodes."),
    Take("es-few-and-ghosts", 3, "open", "A handful of stations, and false decodes from elsewhere."),
    Take("f2", 6, "open", "F2: nothing nearer than 2,600 km."),
    Take("transequatorial", 3, "open", "Across the dip equator."),
    Take("far-alone", 1, "open", "One station beyond 4,000 km."),
    Take("tropo", 2, "open", "A slow night of 300 to 800 km.", 0, 2.8),
    Take("aurora", 4, "open", "Aurora: weak signals from all round."),
    Take("regulars", 3, "open", "A beacon and big stations every day; then a true opening.", 48, 120, 24),
    Take("stall", 3, "blind, never open", "The decoder stops for an hour or more."),
    Take("silent-canary", 3, "blind, never open", "The receiver goes deaf; false decodes go on."),
    Take("drifting-clock", 2, "never open", "The computer's clock runs away."),
)


def rehearsed_logs() -> Iterator[GoldenLog]:
    """All of them."""
    for number, take in enumerate(TAKES):
        layout = LAYOUTS_OF_LOGS[number % len(LAYOUTS_OF_LOGS)]
        scenario = build(take.kind, take.seed)
        heard, ended_s = _cut(scenario, take)
        yield GoldenLog(
            f"{take.kind}-{take.seed}",
            take.must,
            take.about,
            text(rendered(heard, layout)),
            config(layout, scenario.home, _receiver(scenario)),
            ended_s,
        )


def _cut(scenario: Scenario, take: Take) -> tuple[list[Heard], float]:
    """The lines that are kept, and the time up to which silence passes."""
    began_s = scenario.began_s + take.from_h * HOUR_S
    ended_s = min(scenario.ended_s, scenario.began_s + take.to_h * HOUR_S)
    kept: list[Heard] = []
    for number, line in enumerate(each for each in scenario.heard if began_s <= each.at_s < ended_s):
        if line.area != "ground" or number % take.thinned == 0:
            kept.append(line)
    if len(kept) > MOST_LINES and not scenario.openings:
        kept = kept[:MOST_LINES]
        ended_s = kept[-1].at_s
    return kept, ended_s


def _receiver(scenario: Scenario) -> str:
    settings = scenario.settings
    if not settings.canaries and not settings.line_silence_min:
        return ""
    canaries = ", ".join(f'"{call}"' for call in settings.canaries)
    return (
        f"[receiver]\ncanaries = [{canaries}]\ncanary_silence_min = {settings.canary_silence_min}\n"
        f"line_silence_min = {settings.line_silence_min}\n"
    )
