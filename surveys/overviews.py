"""What pages show of many rows at once: sites with their state, visits by page, what waits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.db.models import Q

from portal.accounts.access import Person
from portal.accounts.models import Group
from surveys.models import Draft, Site, Visit
from surveys.queries import DueSite, current_scores, own_drafts, sites_due, visits_of

VISITS_PER_PAGE = 25


@dataclass(frozen=True)
class SiteRow:
    """A site of the list: when it is due (None once closed) and its latest visit that was made."""

    site: Site
    due: DueSite | None
    latest: Visit | None


@dataclass(frozen=True)
class Neighbours:
    """The sites next along the water."""

    upstream: tuple[Site, ...]
    downstream: Site | None


def site_rows(group: Group, today: date) -> list[SiteRow]:
    """Every site of the group, the most pressing first and closed ones last; four queries."""
    newest = (
        Visit.objects.of_group(group)
        .filter(was_made=True)
        .order_by("site_id", "-visited_on", "-submitted_at")
        .distinct("site_id")
        .prefetch_related(current_scores())
    )
    latest: Mapping[UUID, Visit] = {visit.site_id: visit for visit in newest}
    open_ones = [SiteRow(due.site, due, latest.get(due.site.pk)) for due in sites_due(group, today)]
    closed = Site.objects.of_group(group).filter(closed_on__lt=today)
    return open_ones + [SiteRow(site, None, latest.get(site.pk)) for site in closed]


def state_of(group: Group, site: Site, today: date) -> DueSite | None:
    """When one site is due; None for a site that is closed."""
    return next((due for due in sites_due(group, today) if due.site.pk == site.pk), None)


def neighbours(site: Site) -> Neighbours:
    """The sites directly above and below."""
    return Neighbours(tuple(site.upstream.all()), site.downstream)


def last_visits(site: Site, number: int) -> list[Visit]:
    """The site's newest visits, those not made among them."""
    return list(site.visits.select_related("recorder").prefetch_related(current_scores())[:number])


def own_draft_at(person: Person, site: Site) -> Draft | None:
    """The draft that the person has begun for this site."""
    return own_drafts(person).filter(site=site).order_by("-updated_at").first()


def page_of_visits(group: Group, chosen: Q, page: str) -> Page[Visit]:
    """One page of the visits that fit `chosen`."""
    return Paginator(visits_of(group).filter(chosen), VISITS_PER_PAGE).get_page(page)
