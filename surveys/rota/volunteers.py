"""Whether somebody can go to a site on a day, and if not, why. Pure: no database."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from math import asin, cos, radians, sin, sqrt
from types import MappingProxyType
from uuid import UUID

EARTH_KM = 6371.0
Span = tuple[date, date]
Month = tuple[int, int]
NONE_YET: Mapping[Month, int] = MappingProxyType({})


class Obstacle(StrEnum):
    """Why somebody is not proposed, in the order in which it is asked."""

    UNTRAINED = "untrained"
    TOO_FAR = "too_far"
    CANNOT = "cannot"
    BUSY = "busy"
    FULL = "full"


@dataclass(frozen=True)
class Place:
    """A site as a traveller sees it; degrees, WGS84."""

    site_id: UUID
    latitude: float
    longitude: float


@dataclass(frozen=True)
class Volunteer:
    """One member with what they offer and what they have already.

    `home` is a rough point in degrees; `trained_on` holds the days on which a training is in force, None where
    the group keeps no record of training. `busy` are days of other visits, in whichever group.
    """

    user_id: UUID
    name: str
    weekdays: frozenset[int] = frozenset()
    can: tuple[Span, ...] = ()
    away: tuple[Span, ...] = ()
    most_a_month: int = 2
    home: tuple[float, float] | None = None
    travel_km: int | None = None
    near_sites: frozenset[UUID] = frozenset()
    is_minor: bool = False
    trained_on: frozenset[date] | None = None
    busy: frozenset[date] = frozenset()
    taken: Mapping[Month, int] = field(default_factory=lambda: NONE_YET)
    last_there: Mapping[UUID, date] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def load(self) -> int:
        """Visits that this person has in hand already."""
        return sum(self.taken.values())

    def offers(self, day: date) -> bool:
        """Whether this person said that they can on `day`; being away outweighs everything."""
        if _within(self.away, day):
            return False
        return day.weekday() in self.weekdays or _within(self.can, day)

    def distance_km(self, place: Place) -> float | None:
        """As the crow flies from the rough point; None where none is given."""
        return great_circle_km(self.home, (place.latitude, place.longitude)) if self.home else None

    def is_near(self, place: Place) -> bool:
        """Whether a site is one they named or within what they travel; with neither said, every site is."""
        if place.site_id in self.near_sites:
            return True
        distance = self.distance_km(place)
        # Who named sites and nothing else meant these sites; who said nothing at all did not mean none.
        if distance is None or self.travel_km is None:
            return not self.near_sites
        return distance <= self.travel_km

    def left_in(self, month: Month) -> int:
        """How many visits more they offer in a month."""
        return max(0, self.most_a_month - self.taken.get(month, 0))

    def obstacle(self, place: Place, day: date) -> Obstacle | None:
        """What keeps this person from a visit; None where nothing does."""
        # Training first: it is the one reason that no goodwill on the day can mend.
        if self.trained_on is not None and day not in self.trained_on:
            return Obstacle.UNTRAINED
        if not self.is_near(place):
            return Obstacle.TOO_FAR
        if not self.offers(day):
            return Obstacle.CANNOT
        if day in self.busy:
            return Obstacle.BUSY
        return None if self.left_in(month_of(day)) else Obstacle.FULL


def month_of(day: date) -> Month:
    return day.year, day.month


def _within(spans: tuple[Span, ...], day: date) -> bool:
    return any(first <= day <= last for first, last in spans)


def great_circle_km(one: tuple[float, float], other: tuple[float, float]) -> float:
    """The distance of two points in degrees by the haversine formula on a sphere of 6,371 km radius."""
    (lat1, lon1), (lat2, lon2) = (tuple(map(radians, point)) for point in (one, other))
    half = sin((lat2 - lat1) / 2) ** 2 + cos(lat1) * cos(lat2) * sin((lon2 - lon1) / 2) ** 2
    return 2 * EARTH_KM * asin(min(1.0, sqrt(half)))
