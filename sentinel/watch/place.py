"""Where a heard station is: its message, what it said before, the log, or the area of its prefix.

Everything about a place is worked out once for a call and a locator and then only looked up.
"""

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from math import cos, hypot, radians, sin

from sentinel.sky.geodesy import path_between
from sentinel.trade.callsign import Call, parse_call
from sentinel.trade.land import NEAR_KM, off_area_km
from sentinel.trade.locator import center_of, half_diagonal_km
from sentinel.trade.prefixes import area_of
from sentinel.watch.bulletin import LocationSource
from sentinel.watch.knowledge import Knowledge

REMEMBERED_PLACES = 5_000
LOOKED_UP_PLACES = 2_000
NEAR_PLACES = 1_000


@dataclass(frozen=True, slots=True)
class Place:
    """A station's place as seen from home.

    ``off_area_km`` is how far the locator lies from the land of the call's area: 0 inside, None where the
    place comes from the area itself or the area is not known. ``unit`` is the place on the unit sphere.
    """

    lat_deg: float
    lon_deg: float
    locator: str | None
    source: LocationSource
    uncertainty_km: float
    distance_km: float
    bearing_deg: float
    off_area_km: float | None
    is_allocated: bool
    unit: tuple[float, float, float]

    @property
    def agrees_with_prefix(self) -> bool | None:
        """Whether locator and prefix tell the same story; None where that cannot be said."""
        return None if self.off_area_km is None else self.off_area_km <= NEAR_KM

    def is_beyond(self, distance_km: float) -> bool:
        """Surely at least this far: what the prefix alone leaves open does not count in its favour."""
        doubt = self.uncertainty_km if self.source is LocationSource.PREFIX else 0.0
        return self.distance_km - doubt >= distance_km


class Gazetteer:
    """Looks places up and remembers the last locator each call gave, in bounded memory."""

    def __init__(self, home_locator: str, knowledge: Knowledge) -> None:
        self._home = center_of(home_locator)
        self._log: Mapping[str, str] = knowledge.log_locators
        self._said: OrderedDict[str, str] = OrderedDict(list(knowledge.locators.items())[-REMEMBERED_PLACES:])
        self.near: OrderedDict[str, str] = OrderedDict()
        self._places: OrderedDict[tuple[str, str | None, LocationSource], Place | None] = OrderedDict()

    def locate(self, call: Call, locator: str | None) -> Place | None:
        """The best known place of ``call``, which has just given ``locator`` or none; None for nowhere."""
        if locator is not None:
            return self._place(call, locator, LocationSource.MESSAGE)
        if (said := self._said.get(call.text)) is not None:
            return self._place(call, said, LocationSource.HEARD_BEFORE)
        if (logged := self._log.get(call.text)) is not None:
            return self._place(call, logged, LocationSource.LOG)
        return self._place(call, None, LocationSource.PREFIX)

    def remember(self, call: Call, locator: str) -> None:
        """Keep a locator that a believed station gave."""
        if self._said.get(call.text) == locator:
            return
        self._said[call.text] = locator
        self._said.move_to_end(call.text)
        if len(self._said) > REMEMBERED_PLACES:
            self._said.popitem(last=False)

    def remember_near(self, call: Call, locator: str) -> None:
        """The same of a near station: no diary keeps those."""
        self.remember(call, locator)
        self.near[call.text] = locator
        self.near.move_to_end(call.text)
        if len(self.near) > NEAR_PLACES:
            self.near.popitem(last=False)

    def take_up(self, near: Mapping[str, str]) -> None:
        """Go on from the near stations' locators that a watch before this one knew."""
        for text, locator in near.items():
            if (call := parse_call(text)) is not None:
                self.remember_near(call, locator)

    def remembered(self) -> dict[str, str]:
        """Call to last locator, oldest first."""
        return dict(self._said)

    def _place(self, call: Call, locator: str | None, source: LocationSource) -> Place | None:
        key = (call.place or "", locator, source)
        place = self._places.get(key)
        if place is not None or key in self._places:
            return place
        place = self._work_out(call, locator, source)
        self._places[key] = place
        if len(self._places) > LOOKED_UP_PLACES:
            self._places.popitem(last=False)
        return place

    def _work_out(self, call: Call, locator: str | None, source: LocationSource) -> Place | None:
        area = area_of(call.place) if call.place else None
        if locator is not None:
            lat_deg, lon_deg = center_of(locator)
            uncertainty_km = half_diagonal_km(locator)
        elif area is not None:
            lat_deg, lon_deg, uncertainty_km = area.lat_deg, area.lon_deg, area.radius_km
        else:
            return None
        off_km = None
        if locator is not None and call.place:
            off_km = off_area_km(call.place, lat_deg, lon_deg)
        path = path_between(*self._home, lat_deg, lon_deg)
        is_allocated = area.is_allocated if area is not None else call.place is None
        return Place(
            lat_deg,
            lon_deg,
            locator,
            source,
            uncertainty_km,
            path.distance_km,
            path.bearing_deg,
            off_km,
            is_allocated,
            unit_vector(lat_deg, lon_deg),
        )


def unit_vector(lat_deg: float, lon_deg: float) -> tuple[float, float, float]:
    """The place on the unit sphere, for quick comparisons of separation (not for published distances)."""
    lat, lon = radians(lat_deg), radians(lon_deg)
    return cos(lat) * cos(lon), cos(lat) * sin(lon), sin(lat)


def separation_km(a: tuple[float, float, float], b: tuple[float, float, float]) -> float:
    """Separation of two unit vectors on a sphere, in km by the chord: at most 1 % short below 2,500 km."""
    return 6371.0 * hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2])
