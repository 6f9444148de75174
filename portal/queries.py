"""What the shell's own pages read: a member's part of the desk, and what everybody may see."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Prefetch

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Site, Visit
from surveys.models.visits import Status
from surveys.overviews import SITES_PER_PAGE
from surveys.queries import current_scores, visits_of


@dataclass(frozen=True)
class PublicRow:
    """A site with its latest approved visit that was made, None without one."""

    site: Site
    visit: Visit | None


def returned_to(person: Person, group: Group) -> GroupOwnedQuerySet[Visit]:
    """Visits sent back to this person to be mended, longest first."""
    returned = visits_of(group).filter(status=Status.RETURNED)
    own = returned.filter(recorder=person.user_id) | returned.filter(entered_by=person.user_id)
    return own.order_by("reviewed_at")


def approved_visits(site: Site) -> GroupOwnedQuerySet[Visit]:
    """A site's approved visits, newest first, those that could not be made among them."""
    approved = Visit.objects.filter(group=site.group_id, site=site, status=Status.APPROVED)
    return approved.prefetch_related(current_scores()).order_by("-visited_on", "-submitted_at")


def latest_approved(group: Group, page: str = "") -> Page[PublicRow]:
    """One page of the sites, each with its latest approved visit that was made (four queries)."""
    made = Visit.objects.of_group(group).filter(status=Status.APPROVED, was_made=True)
    newest = made.order_by("site_id", "-visited_on", "-submitted_at").distinct("site_id")
    visits = Prefetch("visits", newest.prefetch_related(current_scores()), to_attr="newest")
    sites = Site.objects.of_group(group).prefetch_related(visits)
    found: Page[Any] = Paginator(sites, SITES_PER_PAGE).get_page(page)
    found.object_list = [_row(site) for site in found.object_list]
    return found


def _row(site: Site) -> PublicRow:
    newest: list[Visit] = site.newest  # type: ignore[attr-defined]
    return PublicRow(site, newest[0] if newest else None)
