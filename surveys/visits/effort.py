"""Whether a visit's effort was the site's standard effort, and if not, why.

Plan and tolerance of ±10 % are common practice, without a source: for 3 spots x 3 kicks x 10 s that is
9 to 11 s a kick and 81 to 99 s a visit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple, Protocol

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from surveys.models import Site, Visit
from surveys.submission.types import Submission

TOLERANCE = Decimal("0.1")

EFFORT_PROBLEMS: Mapping[str, Promise] = MappingProxyType(
    {
        "no_effort_recorded": _("the kicking time was not recorded"),
        "spots_missing": _("fewer spots were sampled than planned"),
        "spots_added": _("more spots were sampled than planned"),
        "kicks_missing": _("fewer kicks were made than planned"),
        "kicks_added": _("more kicks were made than planned"),
        "kick_time": _("kicks were shorter or longer than planned"),
        "visit_time": _("the whole kicking time was shorter or longer than planned"),
    }
)


class Planned(Protocol):
    """The standard effort of a site: spots, kicks at each, seconds for each kick, and all seconds together."""

    @property
    def spots(self) -> int: ...
    @property
    def kicks_per_spot(self) -> int: ...
    @property
    def seconds_per_kick(self) -> int: ...
    @property
    def planned_seconds(self) -> int: ...


class Plan(NamedTuple):
    """The same as plain figures, so that what was said of one visit holds for all like it."""

    spots: int
    kicks_per_spot: int
    seconds_per_kick: int

    @property
    def planned_seconds(self) -> int:
        return self.spots * self.kicks_per_spot * self.seconds_per_kick


class Kicked(NamedTuple):
    """A spot's effort as plain figures: seconds of all its kicks."""

    number: int
    kicks: int
    seconds: Decimal


class SpotLike(Protocol):
    """A spot of a submission or of a saved visit."""

    @property
    def number(self) -> int: ...
    @property
    def kicks(self) -> int: ...
    @property
    def seconds(self) -> Decimal: ...


@dataclass(frozen=True)
class Deviation:
    """One way in which the effort left the plan: a code of EFFORT_PROBLEMS, and done against planned."""

    code: str
    field: str
    done: Decimal
    planned: Decimal


def effort_problems(thing: Visit | Submission, site: Site) -> list[str]:
    """Codes of EFFORT_PROBLEMS: why the effort was not standard; empty when it was, or nothing was sampled."""
    # No effort is the plan of a visit that was called off, and rightly so.
    if not thing.was_made:
        return []
    return list(dict.fromkeys(each.code for each in deviations(spots_of(thing), site)))


def plan_of(site: Site) -> Plan:
    """The standard effort of a site."""
    return Plan(site.spots, site.kicks_per_spot, site.seconds_per_kick)


@lru_cache(maxsize=2_000)
def is_standard(spots: tuple[Kicked, ...], plan: Plan) -> bool:
    """Whether the effort of a visit that was made was the planned one; nearly all visits are like others."""
    return not deviations(spots, plan)


def spots_of(thing: Visit | Submission) -> list[SpotLike]:
    """The spots of a visit (one query unless prefetched) or of a submission."""
    spots: Iterable[SpotLike] = thing.spots.all() if isinstance(thing, Visit) else thing.spots
    return list(spots)


def deviations(spots: Sequence[SpotLike], site: Planned) -> list[Deviation]:
    """Every way in which the kicking differs from the site's plan."""
    # Old records often say nothing of time; that is no proof of the standard effort.
    if not spots:
        return [Deviation("no_effort_recorded", "spots", Decimal(0), Decimal(site.planned_seconds))]
    found = [*_number_of_spots(spots, site)]
    for spot in spots:
        found += [*_kicks(spot, site), *_kick_time(spot, site)]
    return [*found, *_visit_time(spots, site)]


def is_near(done: Decimal, planned: Decimal) -> bool:
    """Whether `done` is within the tolerance of the plan, its limits included."""
    return abs(done - planned) <= planned * TOLERANCE


def _number_of_spots(spots: Sequence[SpotLike], site: Planned) -> Iterator[Deviation]:
    if len(spots) != site.spots:
        code = "spots_missing" if len(spots) < site.spots else "spots_added"
        yield Deviation(code, "spots", Decimal(len(spots)), Decimal(site.spots))


def _kicks(spot: SpotLike, site: Planned) -> Iterator[Deviation]:
    planned = site.kicks_per_spot
    if spot.kicks != planned:
        code = "kicks_missing" if spot.kicks < planned else "kicks_added"
        yield Deviation(code, f"spots.{spot.number}.kicks", Decimal(spot.kicks), Decimal(planned))


def _kick_time(spot: SpotLike, site: Planned) -> Iterator[Deviation]:
    # The mean of the spot: volunteers time a spot's kicks together, not each by itself.
    mean = spot.seconds / spot.kicks
    if not is_near(mean, Decimal(site.seconds_per_kick)):
        yield Deviation("kick_time", f"spots.{spot.number}.seconds", mean, Decimal(site.seconds_per_kick))


def _visit_time(spots: Sequence[SpotLike], site: Planned) -> Iterator[Deviation]:
    # Small deviations that each pass may add up to one that does not.
    total = sum((spot.seconds for spot in spots), Decimal(0))
    if not is_near(total, Decimal(site.planned_seconds)):
        yield Deviation("visit_time", "spots", total, Decimal(site.planned_seconds))
