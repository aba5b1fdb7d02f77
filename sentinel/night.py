"""When it is night for the operator: by the hours of the local day, or by the sun at the station."""

import time
from dataclasses import dataclass

from sentinel.config import Config, minutes_of_day
from sentinel.panel.lamps import Night
from sentinel.sky.sun import sun_elevation_deg
from sentinel.trade.locator import center_of


@dataclass(frozen=True, slots=True)
class NightRule:
    """When it is night here; never where the configuration says none."""

    night: Night | None
    place: tuple[float, float]

    def is_night(self, wall_s: float) -> bool:
        """At a time of day, seconds since 1970."""
        if self.night is None:
            return False
        sun_deg = sun_elevation_deg(wall_s, *self.place) if self.night.by_sun else None
        return self.night.is_night(_local_minute(wall_s), sun_deg)


def night_rule(config: Config, hours: str | None) -> NightRule:
    """From ``22:00-07:00``, ``sun``, or ``none``."""
    place = center_of(config.station.locator)
    if hours is None or hours == "none":
        return NightRule(None, place)
    if hours == "sun":
        return NightRule(Night(by_sun=True), place)
    return NightRule(Night(*minutes_of_day(hours)), place)


def _local_minute(wall_s: float) -> int:
    local = time.localtime(wall_s)
    return 60 * local.tm_hour + local.tm_min
