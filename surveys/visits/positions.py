"""How far a visit's position lies from its site, and whether it is that of another site."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol
from uuid import UUID

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from pyproj import Geod

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.prepared import prepared
from surveys.models import Site
from surveys.models.codes import by_code
from surveys.models.visits import ROUGHEST_M
from surveys.submission.types import Position

# How far from a site's place one may stand at work: the reach is a few tens of metres long, the tray stands on
# the bank, and many note the place when they are back at the gate. Common practice, no source.
FARTHEST_M = 250
# What is allowed for where a picture or a phone does not say how exact it is: a phone without a clear sky is
# often that far off. Common practice, no source.
UNKNOWN_ACCURACY_M = 100
# Sites above and below an outfall lie close together; by so much another one must be nearer, beyond all doubt
# about the places, before we ask. Common practice, no source.
NEARER_BY_M = 50

_EARTH = Geod(ellps="WGS84")


class Located(Protocol):
    """A site, or what is known of its place."""

    @property
    def code(self) -> str: ...
    @property
    def latitude(self) -> float: ...
    @property
    def longitude(self) -> float: ...
    @property
    def location_precision_m(self) -> int: ...


@dataclass(frozen=True)
class Landmark:
    """The place of a site: WGS84 degrees, and how exactly it is known in metres."""

    code: str
    latitude: float
    longitude: float
    location_precision_m: int


@dataclass(frozen=True)
class Standing:
    """Metres from its site, whether that is too far, and the code of a site that it fits better, if any."""

    metres: float
    is_far: bool
    other: str = ""

    @property
    def is_doubtful(self) -> bool:
        return self.is_far or bool(self.other)


def landmarks(group: Group, besides: Site) -> tuple[Landmark, ...]:
    """The places of the group's other sites by code (one query)."""
    return tuple(Landmark(*row) for row in _places(group, besides.pk))


@prepared
def _places(group: Group, besides: UUID) -> QuerySet[Any, Any]:
    rows = Site.objects.of_group(group).exclude(pk=besides).order_by(*by_code())
    return rows.values_list("code", "latitude", "longitude", "location_precision_m")


def places_by_group(person: Person) -> Mapping[UUID, list[tuple[Any, ...]]]:
    """Code, place and precision of every site of the person's groups, by group (one query)."""
    rows = Site.objects.visible_to(person).order_by(*by_code())
    found = defaultdict(list)
    for group, *place in rows.values_list("group", "code", "latitude", "longitude", "location_precision_m"):
        found[group].append(tuple(place))
    return found


def metres_between(latitude: float, longitude: float, other_latitude: float, other_longitude: float) -> float:
    """The shortest way over the WGS84 ellipsoid between two places in degrees, m (Karney 2013, by PROJ)."""
    _there, _back, metres = _EARTH.inv(longitude, latitude, other_longitude, other_latitude)
    return float(metres)


def standing(position: Position, site: Located, others: Iterable[Located] = ()) -> Standing:
    """Set a position against its site and the other sites of the group."""
    metres, slack = _metres(position, site), _slack(position, site)
    is_far = metres > FARTHEST_M + slack
    nearest = min(others, key=lambda each: _metres(position, each), default=None)
    if nearest is None or not _fits(position, nearest, metres):
        return Standing(metres, is_far)
    # A position that is off counts twice: it comes nearer to one site by as much as it leaves the other.
    doubt = slack + _slack(position, nearest)
    is_clear = metres - _metres(position, nearest) > NEARER_BY_M + doubt
    return Standing(metres, is_far, nearest.code if is_far or is_clear else "")


def _fits(position: Position, other: Located, metres: float) -> bool:
    there = _metres(position, other)
    return there < metres and there <= FARTHEST_M + _slack(position, other)


def _metres(position: Position, site: Located) -> float:
    return metres_between(position.latitude, position.longitude, site.latitude, site.longitude)


def _slack(position: Position, site: Located) -> int:
    """How far apart the two may seem without being it, m."""
    accuracy = UNKNOWN_ACCURACY_M if position.accuracy_m is None else position.accuracy_m
    return accuracy + site.location_precision_m


def places_for_page(site: Site, others: Iterable[Landmark]) -> str:
    """What a page's script needs to set a position against the sites, as JSON: places and limits."""
    shown = {
        "site": _for_page(site),
        "others": [_for_page(each) for each in others],
        "farthest_m": FARTHEST_M,
        "unknown_accuracy_m": UNKNOWN_ACCURACY_M,
        "nearer_by_m": NEARER_BY_M,
        "roughest_m": ROUGHEST_M,
    }
    return json.dumps(shown)


def _for_page(each: Located) -> dict[str, Any]:
    place: dict[str, Any] = {"code": each.code, "latitude": each.latitude, "longitude": each.longitude}
    return place | {"precision_m": each.location_precision_m}


def distance_words(metres: float) -> str:
    """A distance as people say it: "340 m", "1.4 km", "25 km"."""
    if metres < 995:
        return _("%(number)d m") % {"number": max(10, round(metres / 10) * 10)}
    if metres < 9950:
        return _("%(number)s km") % {"number": f"{metres / 1000:.1f}"}
    return _("%(number)s km") % {"number": f"{metres / 1000:,.0f}"}
