"""The next sites up and down the river: a fall between two of them points to where its source lies."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from scoring.indices.methods import Method
from surveys.models import Site, Visit, VisitScore


@dataclass(frozen=True)
class Neighbour:
    """A neighbouring site with its latest score of the same index up to the day in question."""

    site: Site
    direction: str
    score: str
    when: date | None


def neighbours_of(visit: Visit, method: Method) -> list[Neighbour]:
    """The sites directly upstream and the one downstream."""
    found = [(each, _("upstream")) for each in visit.site.upstream.filter(group=visit.group_id)]
    if visit.site.downstream is not None:
        found.append((visit.site.downstream, _("downstream")))
    latest = _latest_scores(visit, method, [site for site, _direction in found])
    return [_neighbour(site, direction, latest.get(site.pk), method) for site, direction in found]


def _latest_scores(visit: Visit, method: Method, sites: list[Site]) -> dict[object, VisitScore]:
    scores = VisitScore.objects.filter(
        visit__group=visit.group_id,
        visit__site__in=sites,
        visit__visited_on__lte=visit.visited_on,
        index=method.key,
        is_current=True,
        value__isnull=False,
    )
    in_order = (
        scores.across_groups("of the visit's own group").select_related("visit").order_by("visit__visited_on")
    )
    return {each.visit.site_id: each for each in in_order}


def _neighbour(site: Site, direction: str, score: VisitScore | None, method: Method) -> Neighbour:
    if score is None or score.value is None:
        return Neighbour(site, direction, "", None)
    return Neighbour(site, direction, f"{score.value:.{method.decimals}f}", score.visit.visited_on)
