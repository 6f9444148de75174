"""What a phone on the bank needs: the sites of all my groups, the pages to keep, and a version of each page.

A page's version changes whenever the page might: with the release, the language and the marks of all that it
shows.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.urls import reverse
from django.utils.translation import get_language

from portal.accounts.access import Person, allowed
from portal.accounts.models import Group
from surveys.models import Site, Visit
from surveys.offline.marks import group_marks, kit_marks, result_marks, site_marks
from surveys.offline.release import release
from surveys.overviews import last_visits
from surveys.queries import DueSite, sites_due
from surveys.visits.positions import places_by_group

# A phone keeps two pages a site; more sites than a group of volunteers has are not worth its storage.
MOST_SITES = 60
RESULTS_SHOWN = 3
# Kept for everybody; they change with the release alone.
OPEN_PAGES = ("bank_key", "bank_timer")


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


def groups_to_sample(person: Person) -> list[Group]:
    """The groups in which the person goes out, which a guest reviewer does not."""
    groups = [membership.group for membership in person.memberships]
    return [group for group in groups if allowed(person, "visit.submit", group)]


def bank_sites(person: Person, today: date) -> list[BankSite]:
    """The open sites of all the person's groups, the most pressing first (one query for each group)."""
    found = [BankSite(group, due) for group in groups_to_sample(person) for due in sites_due(group, today)]
    return sorted(found, key=_urgency)


def _urgency(each: BankSite) -> tuple[date, str]:
    # By code among those alike, as they come from the database.
    return each.due.due_on or date.min, each.group.slug


def kept_sites(person: Person, today: date) -> list[BankSite]:
    """Those of them that a phone keeps."""
    return bank_sites(person, today)[:MOST_SITES]


def bank_pages(person: Person, sites: Sequence[BankSite], today: date) -> list[BankPage]:
    """The pages that the person's phone keeps: the start, the open pages, two of each site (seven queries)."""
    groups, records, kits = group_marks(person), site_marks(person), kit_marks(person, today)
    # The form knows where all sites are, to ask whether it is that of another one.
    places = places_by_group(person)
    results = result_marks(person, [each.site.pk for each in sites], RESULTS_SHOWN)
    pages = [_page(name) for name in OPEN_PAGES]
    home: list[Any] = []
    for each in sites:
        site, arguments = each.site, (each.group.slug, each.site.pk)
        shared = (groups.get(each.group.pk), records.get(site.pk))
        day = (each.due.state, each.due.due_on, site.permission_lapsed(today))
        home += [arguments, shared, day]
        pages.append(
            _page("bank_site", arguments, *shared, *day, results.get(site.pk), kits.get(each.group.pk))
        )
        # The form shows neither results nor days: it is the larger page and is fetched again more seldom.
        pages.append(_page("bank_visit", arguments, *shared, places[each.group.pk]))
    return [_page("bank_home", (), *home), *pages]


def _page(name: str, arguments: Sequence[Any] = (), *shown: Any) -> BankPage:
    version = hashlib.sha256(repr((release(), get_language(), shown)).encode()).hexdigest()[:16]
    return BankPage(reverse(name, args=arguments), version)


def last_results(site: Site) -> list[Visit]:
    """The site's newest visits, with their scores in force."""
    return last_visits(site, RESULTS_SHOWN)
