"""What pages show of many rows at once: sites with their state, visits by page, what waits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib.postgres.expressions import ArraySubquery
from django.core.paginator import Page, Paginator
from django.db.models import F, OuterRef, Q
from django.db.models.functions import JSONObject

from portal.accounts.access import Person
from portal.accounts.models import Group, Role
from portal.accounts.prepared import planned
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Draft, Site, Visit
from surveys.models.codes import by_code
from surveys.queries import DueSite, current_scores, own_drafts, sites_due, visits_of
from surveys.visits.parts import laid_out, with_parts

VISITS_PER_PAGE, SITES_PER_PAGE = 25, 50
# What a row of a table shows of a visit besides its scores.
OF_ROW = (
    *("group", "visited_on", "was_made", "not_made_reason", "status", "recording_list"),
    *("verdict__visit", "verdict__outcome"),
)


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


def page_of_sites(group: Group, today: date, page: str = "") -> Page[SiteRow]:
    """One page of the group's sites, the most pressing first and closed ones last (four queries)."""
    closed = Site.objects.of_group(group).filter(closed_on__lt=today)
    whole = [*((due.site, due) for due in sites_due(group, today)), *((site, None) for site in closed)]
    found: Page[Any] = Paginator(whole, SITES_PER_PAGE).get_page(page)
    latest = _latest_made(group, [site for site, _due in found.object_list])
    found.object_list = [SiteRow(site, due, latest.get(site.pk)) for site, due in found.object_list]
    return found


def _latest_made(group: Group, sites: list[Site]) -> Mapping[UUID, Visit]:
    made = Visit.objects.of_group(group).filter(site__in=sites, was_made=True)
    newest = made.order_by("site_id", "-visited_on", "-submitted_at").distinct("site_id")
    return {visit.site_id: visit for visit in newest.prefetch_related(current_scores())}


def with_upstream(sites: GroupOwnedQuerySet[Site]) -> GroupOwnedQuerySet[Site]:
    """The sites with what `neighbours` needs; their downstream sites are to be selected as well."""
    above = Site.objects.across_groups("narrowed by the site below").filter(downstream=OuterRef("pk"))
    packed = above.order_by(*by_code()).values(json=JSONObject(id=F("id"), code=F("code"), name=F("name")))
    rows: Any = sites.annotate(packed_upstream=ArraySubquery(packed))
    return rows  # type: ignore[no-any-return]


def neighbours(site: Site) -> Neighbours:
    """The sites directly above, by code and name, and below (no query for one of `with_upstream`)."""
    packed: list[dict[str, Any]] = site.packed_upstream  # type: ignore[attr-defined]
    return Neighbours(tuple(Site(**each) for each in packed), site.downstream)


def last_visits(site: Site, number: int) -> list[Visit]:
    """The site's newest visits, those not made among them, with what a table shows of them and no more."""
    return laid_out(_last_visits(site.pk, number))


@planned
def _last_visits(site: UUID, number: int) -> GroupOwnedQuerySet[Visit]:
    # By the site alone, whose index has them in order: with the group, PostgreSQL sorts all of ten years.
    visits = Visit.objects.across_groups("of a site that was found in its group").filter(site=site)
    return with_parts(visits.select_related("verdict").only(*OF_ROW), "figures")[:number]


def own_draft_at(person: Person, site: Site) -> Draft | None:
    """The draft that the person has begun for this site."""
    found = _drafts_at(site.group_id, site.pk, person.user_id)
    return found[0] if found and person.belongs_to(site.group_id) else None


@planned
def _drafts_at(group: UUID, site: UUID, user_id: UUID | None) -> GroupOwnedQuerySet[Draft]:
    person = Person(user_id, roles={group: Role.VOLUNTEER})
    return own_drafts(person).filter(site=site).order_by("-updated_at")[:1]


def page_of_visits(group: Group, chosen: Q, page: str) -> Page[Visit]:
    """One page of the visits that fit `chosen`."""
    return Paginator(visits_of(group).filter(chosen), VISITS_PER_PAGE).get_page(page)
