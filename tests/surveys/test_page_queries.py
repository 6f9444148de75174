"""Every page of the surveys asks the database a fixed number of times, however much there is to show."""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy

import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import get_resolver, reverse
from django.utils import timezone
from pytest_django import DjangoDbBlocker

from portal.audit.services import record_change
from surveys.models import Finding, Visit
from surveys.services.photos import add_photo
from tests.access import scene
from tests.access.scene import Scene
from tests.access.table import TABLE
from tests.access.test_matrix import ADDRESSES, addresses, signed_in
from tests.access.world import World, picture
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago, member_of, person_for, submit
from tests.lasting import lasting_rows

# As low as they are. Three of each are the session, the account and its memberships; a chart needs five.
CEILINGS = {
    "site_list": 9,
    "site_create": 6,
    "site_detail": 22,
    "site_edit": 8,
    # Grows with the neighbouring sites it compares, of which the full world has twelve.
    "site_change": 26,
    "list_list": 5,
    "list_create": 3,
    "list_detail": 7,
    "list_edit": 5,
    "list_retire": 5,
    "rescore_list": 6,
    "agreement_list": 5,
    "rule_counts_list": 4,
    "visit_submit": 10,
    "photo_file": 4,
    "visit_list": 13,
    "visit_detail": 7,
    "visit_mend": 8,
    "visit_review": 15,
    "visit_correct": 8,
    "review_queue": 11,
    "question_answer": 5,
    "question_link": 2,
    "rules_table": 0,
    "bank_home": 4,
    "bank_site": 15,
    "bank_visit": 8,
    "bank_state": 11,
    "bank_offline": 0,
    "bank_key": 0,
    "bank_timer": 0,
    "bank_worker": 0,
    "bank_manifest": 0,
    "bank_icon": 0,
    "import_visits": 5,
    "api_docs": 3,
    "export_make": 14,
    "publishing_terms": 4,
    "import_template": 3,
    "import_detail": 7,
    "import_map": 6,
    "import_errors": 5,
    "outing_rules": 4,
    "outing_rules_edit": 4,
    "kit_list": 7,
    "kit_create": 3,
    "kit_detail": 9,
    "kit_edit": 5,
    "kit_clean": 5,
    "river_report": 5,
    "record_sheet": 6,
    "safe_return_list": 7,
    "safe_return_start": 7,
    "safe_return_detail": 6,
    "return_link": 5,
    "api_schema": 0,
    "api_groups": 3,
    "api_sites": 5,
    "api_lists": 6,
    "api_site": 6,
    "api_job": 6,
    "api_job_file": 6,
    "api_visits": 6,
    "api_visit": 10,
}
OWN = {"visit_submit", "visit_mend", "question_answer"}
OPEN = {
    "rules_table",
    "api_schema",
    "bank_key",
    "bank_offline",
    "bank_timer",
    "bank_worker",
    "bank_manifest",
    "bank_icon",
    "question_link",
}


once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world


@pytest.fixture(scope="module")
def filled_once(once: Scene, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    with lasting_rows(django_db_blocker):
        _fill(deepcopy(once))
        yield


@pytest.fixture
def full_world(filled_once: None, world: World) -> World:
    """The same with a dozen of everything that a page could ask for one by one."""
    return world


def _fill(scene: Scene) -> None:
    cast, world = scene.cast, scene.world
    for number in range(12):
        member = member_of(cast.group, name=f"Member {number}")
        SiteFactory(group=cast.group, downstream=cast.site)
        submit(person_for(member), cast.site, visited_on=days_ago(20 + number).isoformat())
    visits = Visit.objects.of_group(cast.group).filter(
        id__in=[world.values["visit_id"], world.special["visit_mend"]["visit_id"]]
    )
    for visit in visits:
        _burden(visit, cast)


def _burden(visit: Visit, cast: Cast) -> None:
    people = [cast.coordinator, cast.second_coordinator]
    visit.corrected_by.add(*people)
    for number in range(10):
        who = people[number % 2]
        Finding.objects.create(
            visit=visit,
            rule="deep",
            field=f"spots.{number}.depth_cm",
            message="Deep.",
            decision="accepted",
            decided_by=who,
            decided_at=timezone.now(),
            decision_reason="Measured twice.",
        )
        record_change(actor=person_for(who), verb="finding.decided", thing=visit)
    for _each in range(4):
        coordinator = cast.person("coordinator") if visit.status != "returned" else cast.person("volunteer")
        add_photo(person=coordinator, group=cast.group, visit_number=visit.pk, upload=picture())


def asked_by(world: World, name: str) -> int:
    """How often the page asks the database, for whoever it is there for."""
    role = "nobody" if name in OPEN else "volunteer" if name in OWN else "coordinator"
    url = reverse(name, kwargs=world.arguments(name, ADDRESSES[name]))
    client = signed_in(world, role)
    cache.clear()
    with CaptureQueriesContext(connection) as seen:
        answer = client.get(url)
        assert answer.status_code == 200, name
        if answer.streaming:
            assert b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    return len(seen)


def test_it_watches_every_page_of_the_surveys() -> None:
    ours = {name for name, _arguments in addresses(get_resolver("surveys.urls"))}
    assert {name for name in ours if "get" in TABLE[name]} == set(CEILINGS)


@pytest.mark.parametrize("name", CEILINGS)
def test_it_asks_no_more_than_it_did(world: World, name: str) -> None:
    assert asked_by(world, name) <= CEILINGS[name]


@pytest.mark.parametrize("name", CEILINGS)
def test_it_asks_no_more_for_many_rows_than_for_few(full_world: World, name: str) -> None:
    assert asked_by(full_world, name) <= CEILINGS[name]


def test_it_would_notice_a_page_that_asks_row_by_row(full_world: World, cast: Cast) -> None:
    """The dozen is really there: without its prefetching, a list would need a query for each row."""
    with CaptureQueriesContext(connection) as seen:
        for visit in Visit.objects.of_group(cast.group):
            assert list(visit.scores.all())
    assert len(seen) > 12
