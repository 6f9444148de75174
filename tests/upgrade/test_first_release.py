"""A portal of the first release is brought up to date: nothing is lost, everything can be read and goes on."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from urllib.parse import urlsplit

import psycopg
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import connection
from django.test import Client, override_settings
from django.urls import resolve
from pytest_django import DjangoDbBlocker

from alerts.chain.checking import check_chain
from alerts.models import Incident
from portal.accounts.models import Group, Membership, Role, User
from portal.accounts.policies import all_policies
from portal.accounts.role import raise_the_wall
from portal.audit.watching import TRIGGERS, attach_triggers, watched_tables
from portal.backup.files import named_files
from surveys.models import Site
from surveys.scores.rescoring import rescore_visits, visits_to_rescore
from tests.factories import person_for, submit
from tests.owner import as_owner
from tests.upgrade.restoring import address, portal_on, restored, rows_of, upgrade

# Each dump that a portal out there may have come from; see README.md beside it.
RELEASES = ["first_release.sql.gz"]
# Whatever Django keeps for itself may grow.
DJANGOS = {"django_content_type", "auth_permission", "django_migrations", "django_session"}
WHY = "an upgrade is looked at from outside all groups"
SCORES = (
    "SELECT visit_id, index, version, value, low, high FROM surveys_visitscore WHERE is_current ORDER BY 1, 2"
)
LINKS = re.compile(r'href="(/[^"#?]*)')


@dataclass
class Upgraded:
    """One database before and after."""

    name: str
    before: dict[str, int]
    scores: list[tuple[object, ...]]
    after: dict[str, int] = field(default_factory=dict)


def read(database: str, statement: str) -> list[tuple[object, ...]]:
    with psycopg.connect(address(database)) as line:
        return line.execute(statement).fetchall()


@pytest.fixture(scope="module", params=RELEASES)
def upgraded(
    request: pytest.FixtureRequest,
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Upgraded]:
    with restored(request.param) as name, django_db_blocker.unblock(), portal_on(name):
        found = Upgraded(name, rows_of(name), read(name, SCORES))
        with override_settings(MEDIA_ROOT=tmp_path_factory.mktemp("media"), SECOND_FACTOR="optional"):
            upgrade()
            store_stand_ins()
            found.after = rows_of(name)
            yield found


def store_stand_ins() -> None:
    """A file for each that a row names: a dump holds none."""
    with connection.cursor() as cursor:
        for name in named_files(cursor):
            default_storage.save(name, ContentFile(b"%PDF-1.7"))


def test_every_row_is_there_afterwards(upgraded: Upgraded) -> None:
    lost = {
        table: (rows, upgraded.after.get(table))
        for table, rows in upgraded.before.items()
        if table not in DJANGOS and upgraded.after.get(table, 0) < rows
    }
    assert upgraded.before["surveys_visit"] == upgraded.after["surveys_visit"] == 134
    assert lost == {}


def test_every_score_is_what_it_was_and_what_it_would_be_today(upgraded: Upgraded) -> None:
    assert read(upgraded.name, SCORES) == upgraded.scores
    assert len(upgraded.scores) > 1_000
    for group in Group.objects.all():
        stale = visits_to_rescore(group).values_list("pk", flat=True)
        rescore_visits(person=None, group=group, visits=list(stale))
    today = {row[:3]: row[3:] for row in read(upgraded.name, SCORES)}
    changed = [row for row in upgraded.scores if row[:3] in today and row[3:] != today[row[:3]]]
    assert changed == []


def test_the_course_of_every_incident_is_sealed_and_whole(upgraded: Upgraded) -> None:
    incidents = list(Incident.objects.across_groups(WHY))
    assert len(incidents) == upgraded.before["alerts_incident"] > 0
    assert [check_chain(each).broken for each in incidents] == [""] * len(incidents)
    call_command("verify_incidents")
    call_command("find_untold_changes")


def test_every_table_is_watched_and_the_trail_is_only_added_to(upgraded: Upgraded) -> None:
    there = {table for table, trigger in read(upgraded.name, TRIGGERS) if trigger == "history_of_changes"}
    assert there == {each.table for each in watched_tables()}
    assert attach_triggers() == []
    with pytest.raises(psycopg.DatabaseError, match="only ever added"):
        read(upgraded.name, "DELETE FROM audit_auditentry")


def test_the_second_wall_stands_before_every_table_that_has_a_policy(upgraded: Upgraded) -> None:
    walled = {table for (table,) in read(upgraded.name, "SELECT relname FROM pg_class WHERE relrowsecurity")}
    assert walled == {each.table for each in all_policies()}
    with as_owner():
        assert raise_the_wall() == []


def test_the_tables_are_those_of_a_new_portal(upgraded: Upgraded) -> None:
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)
    call_command("migrate", check_unapplied=True, verbosity=0, interactive=False)


def test_a_visit_is_taken_in_judged_and_told_of(upgraded: Upgraded) -> None:
    site = Site.objects.across_groups(WHY).filter(triggers__isnull=False).order_by("code").first()
    assert site is not None
    visit = submit(person_for(coordinator_of(site.group)), site)
    assert visit.scores.filter(is_current=True).exists()
    assert rows_of(upgraded.name)["surveys_visit"] == upgraded.before["surveys_visit"] + 1


def coordinator_of(group: Group) -> User:
    return Membership.objects.filter(group=group, role=Role.COORDINATOR).order_by("pk").first().user  # type: ignore[union-attr]


def walk(client: Client, begin: list[str]) -> dict[str, int]:
    """The answer of one page of each kind that links lead to, by its name."""
    answers: dict[str, int] = {}
    waiting = list(begin)
    while waiting:
        path = waiting.pop()
        if path.startswith(("/static/", "/account/logout")):
            continue
        name = str(resolve(path).view_name)
        if name in answers:
            continue
        page = client.get(path, follow=False)
        answers[name] = page.status_code
        waiting += [urlsplit(link).path for link in LINKS.findall(text_of(page))]
        page.close()
    return answers


def text_of(page: object) -> str:
    if getattr(page, "streaming", False) or "text/html" not in page.headers["Content-Type"]:  # type: ignore[attr-defined]
        return ""
    return str(page.content.decode())  # type: ignore[attr-defined]


def test_every_kind_of_page_that_links_lead_to_opens(upgraded: Upgraded) -> None:
    group = Group.objects.order_by("slug").first()
    assert group is not None
    client = Client()
    client.force_login(coordinator_of(group))
    answers = walk(client, [f"/groups/{group.slug}/"])
    assert {name: code for name, code in answers.items() if code not in {200, 302}} == {}
    assert {"visit_detail", "site_detail", "incident_detail", "report_detail"} <= answers.keys()
    assert len(answers) > 40
