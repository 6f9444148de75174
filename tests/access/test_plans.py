"""On ten years of many groups each address finds its rows by an index, and reads no more than it shows.

The portal is grown (`portal/growing/`), so that tables stand to each other as they would after those years; the
like test in `test_ceilings.py` has more kinds of rows, but all of them copies of one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoDbBlocker

from alerts.models import Incident
from portal.accounts.models import Group, Membership, Role
from portal.growing.extent import Extent
from portal.growing.growing import TABLES, grow
from portal.growing.visiting import LARGE
from surveys.models import Site, TaxonCount, Visit
from tests.access.ceilings import ASKED_BY, DOCUMENTS
from tests.access.plans import full_scans, wasted_readings
from tests.access.table import TABLE
from tests.access.test_matrix import ADDRESSES
from tests.lasting import lasting_rows
from tests.owner import as_owner

WHY = "a test looks at all of them"
# The grown portal has no picture of a report, and the visit asked about was not returned.
NOT_THERE = {"visit_mend", "report_picture_file"}
# Counts whichever of a group's own scores an older version made; none is shown.
COUNTS_ALL = {"rescore_list"}
LARGE_TABLES = [each._meta.db_table for each in LARGE]
ALL_TABLES = [each._meta.db_table for each in TABLES]

pytestmark = [pytest.mark.django_db, pytest.mark.long]


@dataclass(frozen=True)
class Land:
    """One of the grown groups, and what stands for each argument of an address."""

    group: Group
    values: dict[str, Any]

    def client(self, role: str) -> Client:
        client = Client()
        if role != "nobody":
            members = Membership.objects.of_group(self.group).filter(role=role)
            client.force_login(members.select_related("user").earliest("pk").user)
        return client


@pytest.fixture(scope="module")
def land(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Land]:
    tomorrow = timezone.localdate() + timedelta(days=1)
    with lasting_rows(django_db_blocker):
        with as_owner():
            grow(Extent(groups=40, sites=6, years=10, until=tomorrow, seed=2))
        incident = Incident.objects.across_groups(WHY).filter(group__is_public=True).latest("opened_at")
        group = incident.group
        waiting = Visit.objects.of_group(group).order_by("-visited_on")
        values = {
            "slug": group.slug,
            "code": incident.site.code,
            "site_id": incident.site_id,
            "incident_id": incident.pk,
            "visit_id": waiting[0].pk,
            "number": waiting[0].pk,
        }
        yield Land(group, values)


def asked_about(land: Land) -> list[str]:
    """The addresses of a group that anybody reads and whose arguments the grown portal has."""
    return [
        name
        for name, arguments in ADDRESSES.items()
        if "slug" in arguments
        and set(arguments) <= land.values.keys()
        and name not in DOCUMENTS
        and _reader(name) is not None
    ]


def _reader(name: str) -> str | None:
    answers = TABLE.get(name, {}).get("get", {})
    roles = [ASKED_BY.get(name, ""), Role.COORDINATOR, Role.VOLUNTEER, "nobody"]
    return next((role for role in roles if answers.get(role) == "ok" and role != "contact"), None)


def queries_of(land: Land, name: str) -> list[str] | None:
    """What the address asks; None where there is no such page."""
    url = reverse(name, kwargs={each: land.values[each] for each in ADDRESSES[name]})
    client = land.client(str(_reader(name)))
    cache.clear()
    with transaction.atomic(), CaptureQueriesContext(connection) as seen:
        answer: Any = client.get(url)
        b"".join(answer.streaming_content) if answer.streaming else answer.content
        asked = [each["sql"] for each in seen.captured_queries]
        transaction.set_rollback(True)
    for closer in answer._resource_closers:
        closer()
    return asked if answer.status_code in (200, 302) else None


def test_each_address_finds_its_rows_by_an_index(land: Land) -> None:
    names = asked_about(land)
    lists = {"visit_list", "group_desk", "site_list", "review_queue", "incident_list", "public_group"}
    assert lists | {"api_visits", "api_sites", "site_detail", "visit_review"} <= set(names)
    asked = {name: queries_of(land, name) for name in names}
    assert {name for name, queries in asked.items() if queries is None} == NOT_THERE
    wrong = {
        name: [*full_scans(queries, LARGE_TABLES), *wasted_readings(queries, ALL_TABLES)]
        for name, queries in asked.items()
        if queries and name not in COUNTS_ALL
    }
    assert {name: found for name, found in wrong.items() if found} == {}


def test_it_would_notice_a_table_read_from_end_to_end(land: Land) -> None:
    assert full_scans([sql_of(TaxonCount.objects.across_groups(WHY).filter(count=7).order_by())], LARGE_TABLES)


def test_it_would_notice_rows_read_in_vain(land: Land) -> None:
    """By an index, yet all of a group's counts for one visit's."""
    counts = TaxonCount.objects.of_group(land.group).filter(by_key=True)
    assert wasted_readings([sql_of(counts)], ALL_TABLES)
    site = Site.objects.of_group(land.group).order_by("code")[:1]
    assert wasted_readings([sql_of(site)], ALL_TABLES) == []


def sql_of(rows: Any) -> str:
    with CaptureQueriesContext(connection) as seen:
        list(rows)
    return str(seen.captured_queries[-1]["sql"])
