"""Undoing a whole import: only while nobody has built on it, with a reason, and the trail keeps all of it."""

from __future__ import annotations

import io
from datetime import timedelta
from pathlib import Path
from uuid import UUID

import pytest
from django.conf import LazySettings
from django.core.exceptions import PermissionDenied
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from alerts.models import Incident
from portal.audit.models import AuditEntry
from portal.audit.services import history_of, record_change
from portal.jobs.models import Job
from portal.jobs.tasks import run_job
from portal.reports.models import YearlyReport
from surveys.errors import NotPossible
from surveys.models import ImportRun, Photo, Visit
from surveys.services import imports
from tests.conftest import Cast
from tests.surveys.importing.sheets import csv_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_media(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def run(cast: Cast) -> ImportRun:
    """A sheet of two visits, loaded."""
    kept = imports.keep_sheet(
        person=cast.person("coordinator"),
        group=cast.group,
        file=io.BytesIO(csv_of([{}, {"date": "2024-06-03"}])),
        file_name="old.csv",
    )
    imports.load_run(person=cast.person("coordinator"), run=kept)
    kept.refresh_from_db()
    return kept


def visits(run: ImportRun) -> list[Visit]:
    return list(Visit.objects.of_group(run.group).filter(import_run=run).order_by("visited_on"))


def undo(cast: Cast, run: ImportRun, who: str = "second_coordinator") -> int:
    return imports.undo_run(person=cast.person(who), run=run, reason="The wrong file.")


def refusal(cast: Cast, run: ImportRun) -> str:
    with pytest.raises(NotPossible) as refused:
        undo(cast, run)
    assert len(visits(run)) == 2
    return refused.value.message


def test_all_its_visits_go_and_the_trail_stays(cast: Cast, run: ImportRun) -> None:
    first = visits(run)[0]
    assert undo(cast, run) == 2
    assert visits(run) == []
    run.refresh_from_db()
    assert (run.undone_by_id, run.undone_reason) == (cast.second_coordinator.pk, "The wrong file.")
    entry = history_of(first, cast.group).last()
    assert entry is not None
    assert (entry.verb, entry.reason, entry.actor_name) == ("visit.removed", "The wrong file.", "Cole Example")
    assert [each.verb for each in history_of(run, cast.group)] == ["import.loaded", "import.undone"]


def test_visits_of_other_sheets_and_hands_stay(cast: Cast, run: ImportRun) -> None:
    other = imports.keep_sheet(
        person=cast.person("coordinator"),
        group=cast.group,
        file=io.BytesIO(csv_of([{"date": "2023-06-03"}])),
        file_name="older.csv",
    )
    imports.load_run(person=cast.person("coordinator"), run=other)
    undo(cast, run)
    assert Visit.objects.of_group(cast.group).count() == 1


def test_what_was_undone_can_be_loaded_again(cast: Cast, run: ImportRun) -> None:
    undo(cast, run)
    again = imports.keep_sheet(
        person=cast.person("coordinator"), group=cast.group, file=io.BytesIO(csv_of([{}])), file_name="old.csv"
    )
    assert imports.load_run(person=cast.person("coordinator"), run=again).new == 1


def test_a_second_click_removes_nothing_more(cast: Cast, run: ImportRun) -> None:
    undo(cast, run)
    assert undo(cast, run) == 0
    assert AuditEntry.objects.filter(group=cast.group, verb="import.undone").count() == 1


def test_an_approved_visit_keeps_the_sheet(cast: Cast, run: ImportRun) -> None:
    imports.approve_run(person=cast.person("second_coordinator"), run=run, accept_findings_reason="as it was")
    assert refusal(cast, run) == (
        "It cannot be undone: 2 visits were approved, for instance AB1 on 2024-05-03."
    )


@pytest.mark.parametrize("verb", ["visit.corrected", "visit.mended"])
def test_a_visit_changed_by_hand_keeps_the_sheet(cast: Cast, run: ImportRun, verb: str) -> None:
    record_change(actor=cast.person("coordinator"), verb=verb, thing=visits(run)[1])
    assert "1 visit was changed by hand, for instance AB1 on 2024-06-03." in refusal(cast, run)


def test_a_picture_keeps_the_sheet(cast: Cast, run: ImportRun) -> None:
    Photo.objects.create(group=cast.group, visit_number=visits(run)[0].pk, file=ContentFile(b"x", name="p.jpg"))
    assert "1 visit has pictures" in refusal(cast, run)


def test_an_incident_keeps_the_sheet(cast: Cast, run: ImportRun) -> None:
    incident = Incident.objects.create(
        group=cast.group, site=cast.site, year=2026, number=7, contacts_told=1, state="open"
    )
    incident.visits.add(visits(run)[0])
    assert "1 visit belongs to an incident" in refusal(cast, run)


def test_a_report_published_since_keeps_the_sheet(cast: Cast, run: ImportRun) -> None:
    report = YearlyReport.objects.create(
        group=cast.group, year=2024, state="published", published_at=timezone.now() + timedelta(minutes=1)
    )
    assert "2 visits are counted in a published report" in refusal(cast, run)
    assert str(report) == "2024, edition 1"


def test_reports_of_other_years_and_groups_or_from_before_do_not(cast: Cast, run: ImportRun) -> None:
    now = timezone.now()
    for group, year, at in (
        (cast.group, 2023, now + timedelta(minutes=1)),
        (cast.neighbour, 2024, now + timedelta(minutes=1)),
        (cast.group, 2024, now - timedelta(days=1)),
    ):
        YearlyReport.objects.create(group=group, year=year, state="published", published_at=at)
    assert undo(cast, run) == 2


def test_only_coordinators_with_a_reason_may(cast: Cast, run: ImportRun) -> None:
    with pytest.raises(PermissionDenied):
        undo(cast, run, "volunteer")
    with pytest.raises(NotPossible):
        imports.undo_run(person=cast.person("coordinator"), run=run, reason="  ")
    assert len(visits(run)) == 2


def signed_in(cast: Cast) -> Client:
    client = Client()
    client.force_login(cast.coordinator)
    return client


def address(run: ImportRun, name: str = "import_undo") -> str:
    return reverse(name, args=["alder-beck", run.pk])


def newest_job(cast: Cast) -> UUID:
    job: Job = Job.objects.of_group(cast.group).latest("created_at")
    return job.pk


def test_the_page_orders_it_and_tells_what_became_of_it(cast: Cast, run: ImportRun) -> None:
    client = signed_in(cast)
    assert "Undo the import" in client.get(address(run, "import_detail")).content.decode()
    answer = client.post(address(run), {"reason": "The wrong file."})
    run_job(str(newest_job(cast)))
    assert "2 visits were removed." in client.get(answer["Location"]).content.decode()
    shown = client.get(address(run, "import_detail")).content.decode()
    assert "The wrong file." in shown
    assert "Undo the import" not in shown


def test_the_page_says_why_not(cast: Cast, run: ImportRun) -> None:
    client = signed_in(cast)
    assert client.post(address(run), {"reason": ""}).status_code == 422
    record_change(actor=None, verb="visit.approved", thing=visits(run)[0])
    shown = client.get(address(run, "import_detail")).content.decode()
    assert "It cannot be undone any more" in shown
    assert "1 visit was approved" in shown
    answer = client.post(address(run), {"reason": "The wrong file."})
    assert answer.status_code == 422
    assert "It cannot be undone: 1 visit was approved" in answer.content.decode()


def test_a_visit_approved_since_the_order_stops_the_job(cast: Cast, run: ImportRun) -> None:
    imports.request_undoing(person=cast.person("coordinator"), run=run, reason="The wrong file.")
    record_change(actor=None, verb="visit.approved", thing=visits(run)[0])
    run_job(str(newest_job(cast)))
    job = Job.objects.of_group(cast.group).get(pk=newest_job(cast))
    assert job.state == "failed"
    assert "1 visit was approved" in job.problem
    assert len(visits(run)) == 2
