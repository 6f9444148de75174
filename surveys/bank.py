"""What a phone on the bank needs: the sites of all my groups, the pages to keep, and a version of each page.

A version changes whenever the page might: it is made of the release, of the audit trail of everything that the
page shows, and of the site's last visits. It may change without need; it must never stay when the page changes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Count, Max
from django.urls import reverse

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.audit.models import AuditEntry
from surveys.models import Site, Visit
from surveys.overviews import last_visits
from surveys.queries import DueSite, sites_due
from surveys.release import release

# A phone keeps two pages a site; more sites than a group of volunteers has are not worth its storage.
MOST_SITES = 60
RESULTS_SHOWN = 3
# What changes records of single visits or the desk's own work, and no page of the bank with them.
UNSEEN = (
    "surveys.site",
    "surveys.visit",
    "surveys.draft",
    "surveys.photo",
    "surveys.finding",
    "surveys.importrun",
    "surveys.rescorerun",
    "alerts.incident",
    "reports.yearlyreport",
    "accounts.invitation",
)

Marks = Mapping[UUID, str]


@dataclass(frozen=True)
class BankSite:
    """An open site of one of the person's groups, and when it is due."""

    group: Group
    due: DueSite

    @property
    def site(self) -> Site:
        return self.due.site


@dataclass(frozen=True)
class BankPage:
    """A page to be kept on the phone."""

    address: str
    version: str


def bank_sites(person: Person, today: date) -> list[BankSite]:
    """The open sites of all the person's groups, the most pressing first, as many as a phone keeps."""
    groups = [membership.group for membership in person.memberships]
    found = [BankSite(group, due) for group in groups for due in sites_due(group, today)]
    return sorted(found, key=_urgency)[:MOST_SITES]


def _urgency(each: BankSite) -> tuple[date, str, str]:
    return each.due.due_on or date.min, each.site.code, each.group.slug


def bank_pages(person: Person, sites: Sequence[BankSite], today: date) -> list[BankPage]:
    """The pages that the person's phone keeps: the start, the open pages, and two of each site (four queries)."""
    groups, records, visits = _group_marks(person), _site_marks(person), _visit_marks(person)
    pages = [BankPage(reverse("bank_home"), _version(groups, records, visits, _dues(sites)))]
    for each in sites:
        site, arguments = each.site, [each.group.slug, each.site.pk]
        # The form shows neither results nor days: it is the larger page and is fetched again more seldom.
        form = (groups.get(each.group.pk), records.get(site.pk))
        brief = (*form, visits.get(site.pk), each.due.state, each.due.due_on, site.permission_lapsed(today))
        pages.append(BankPage(reverse("bank_site", args=arguments), _version(*brief)))
        pages.append(BankPage(reverse("bank_visit", args=arguments), _version(*form)))
    return pages


def _dues(sites: Iterable[BankSite]) -> list[str]:
    return [f"{each.site.pk} {each.due.state} {each.due.due_on}" for each in sites]


def _version(*parts: Any) -> str:
    # Sorted, because the database may name groups and sites in any order.
    plain = [sorted(part.items()) if isinstance(part, dict) else part for part in (release(), *parts)]
    return hashlib.sha256(repr(plain).encode()).hexdigest()[:16]


def _group_marks(person: Person) -> Marks:
    """For each group a word that changes with its people, lists, triggers and all else that pages show."""
    seen = AuditEntry.objects.visible_to(person).exclude(object_type__in=UNSEEN)
    return _marks(seen.values_list("group").annotate(Max("at"), Count("pk")).order_by())


def _site_marks(person: Person) -> Marks:
    """The same for each site's own record."""
    seen = AuditEntry.objects.visible_to(person).filter(object_type="surveys.site")
    return _marks(seen.values_list("object_id").annotate(Max("at"), Count("pk")).order_by())


def _visit_marks(person: Person) -> Marks:
    """The same for the results of each site."""
    visits = Visit.objects.visible_to(person).values_list("site")
    found = visits.annotate(Max("submitted_at"), Max("reviewed_at"), Count("pk"), Count("reviewed_at"))
    return _marks(found.order_by())


def _marks(rows: Iterable[tuple[Any, ...]]) -> Marks:
    # Numbers beside times: a change that was begun earlier may be committed later.
    return {row[0]: " ".join(map(str, row[1:])) for row in rows}


def last_results(site: Site) -> list[Visit]:
    """The site's newest visits, with their scores in force."""
    return last_visits(site, RESULTS_SHOWN)
