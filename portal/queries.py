"""What the shell's own pages read: a member's part of the desk, and what everybody may see."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Prefetch

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Site, Visit
from surveys.models.visits import Status
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


def latest_approved(group: Group) -> list[PublicRow]:
    """Every site with its latest approved visit that was made (three queries for any number of sites)."""
    made = Visit.objects.of_group(group).filter(status=Status.APPROVED, was_made=True)
    newest = made.order_by("site_id", "-visited_on", "-submitted_at").distinct("site_id")
    visits = Prefetch("visits", newest.prefetch_related(current_scores()), to_attr="newest")
    return [_row(site) for site in Site.objects.of_group(group).prefetch_related(visits)]


def _row(site: Site) -> PublicRow:
    newest: list[Visit] = site.newest  # type: ignore[attr-defined]
    return PublicRow(site, newest[0] if newest else None)
