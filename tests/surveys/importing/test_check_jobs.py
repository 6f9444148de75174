"""The check of a sheet as long work: kept, shown, asked for again, stopped; no visit is written."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.jobs import kinds
from portal.jobs.models import Job
from portal.jobs.services import stop_job
from portal.jobs.tasks import run_job
from surveys.importing.reports import Report
from surveys.models import ImportRun, Visit
from surveys.services import imports
from tests.conftest import Cast
from tests.factories import SiteFactory
from tests.surveys.importing.sheets import csv_of

pytestmark = pytest.mark.django_db
GERMAN = "Ort;Tag;Familie;Anzahl;Wassertemp\nAB1;03.05.2024;Baetidae;12;7,4\nAB1;45415;Elmidae;3;\n"


@pytest.fixture(autouse=True)
def _own_media(settings: LazySettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.MEDIA_ROOT = tmp_path
    monkeypatch.setattr("portal.jobs.working.PAUSE", 1e9)


@pytest.fixture
def client(client: Client, cast: Cast) -> Client:
    client.force_login(cast.coordinator)
    return client


def take(cast: Cast, content: bytes) -> ImportRun:
    return imports.take_sheet(
        person=cast.person("coordinator"), group=cast.group, file=io.BytesIO(content), file_name="old.csv"
    )


def job_of(run: ImportRun) -> Job:
    return Job.objects.of_group(run.group).filter(key=imports.check_key(run)).latest("created_at")


def done(run: ImportRun) -> ImportRun:
    """Let a worker do the check that was ordered."""
    run_job(str(job_of(run).pk))
    return ImportRun.objects.of_group(run.group).get(pk=run.pk)


def shown(client: Client, run: ImportRun) -> str:
    answer: Any = client.get(reverse("import_detail", args=[run.group.slug, run.pk]))
    return " ".join(answer.content.decode().split())


def test_the_page_waits_for_the_check_and_shows_it_when_it_is_done(cast: Cast, client: Client) -> None:
    run = take(cast, csv_of([{}, {"date": "2024-06-03"}]))
    assert 'hx-get="' in shown(client, run)
    assert "Load 2 visits" not in shown(client, run)
    run = done(run)
    assert "Load 2 visits" in shown(client, run)
    assert job_of(run).summary == "2 new visits can be loaded."
    assert not Visit.objects.of_group(cast.group).exists()


def test_what_was_found_is_read_back_as_it_was_kept(cast: Cast) -> None:
    run = take(cast, csv_of([{"notes": "Bäche"}, {"site": "ZZ9"}]))
    run = done(run)
    report = Report.of_json(run.report or {})
    assert (report.new, report.problem_count, report.problems[0].column) == (1, 1, "site")
    assert [list(each) for each in report.preview[0].counts] == [["Baetidae", "12"]]
    assert str(run.to_mend.name).endswith("-to-mend.xlsx")


def test_a_stopped_check_leaves_nothing_and_can_be_ordered_again(cast: Cast, client: Client) -> None:
    run = take(cast, csv_of([{}]))
    stop_job(person=cast.person("coordinator"), job=job_of(run))
    assert "has not been checked yet" in shown(client, done(run))
    again = client.post(reverse("import_check", args=["alder-beck", run.pk]))
    assert again.status_code == 302
    assert "Load 1 visit" in shown(client, done(run))


def test_a_check_that_takes_too_long_ends_with_words(
    cast: Cast, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    kind = kinds.kind_of("import_check")
    assert kind
    slow = kinds.Kind(kind.name, kind.label, kind.handler, at_most=timedelta(seconds=-1))
    monkeypatch.setitem(kinds._KINDS, "import_check", slow)
    run = done(take(cast, csv_of([{}])))
    assert "It took longer than" in shown(client, run)
    assert run.report is None


def test_the_page_says_how_a_sheet_was_understood(cast: Cast, client: Client) -> None:
    run = take(cast, GERMAN.replace("Ort", "Örtlichkeit").encode("cp1252"))
    raw = imports.raw_of(run)
    columns = ("site", "date", "taxon", "count", "temperature_c")
    told = dict(zip(raw.header, columns, strict=True))
    plan = imports.plan_of(run, raw)
    plan = replace(plan, layout="taxon_rows", columns=told, date_order="dmy", decimal_comma=True)
    imports.explain_sheet(person=cast.person("coordinator"), run=run, raw=raw, plan=plan)
    text = shown(client, done(run))
    for words in (
        "CSV in Windows-1252, cells separated by semicolons",
        "“03.05.2024” is read as 3 May 2024",
        "Bare numbers are read as days",
        "“7,4” is read as 7.4",
        "Örtlichkeit",
        "If these look wrong",
    ):
        assert words in text
    # 45415 is 3 May 2024 as spreadsheet programs count days: both rows are one visit.
    assert "2 rows make 1 new visit" in text


def test_one_check_of_a_sheet_is_under_way_at_a_time(cast: Cast) -> None:
    run = take(cast, csv_of([{}]))
    assert imports.request_check(person=cast.person("second_coordinator"), run=run).pk == job_of(run).pk


def test_a_sheet_that_is_gone_is_said(cast: Cast) -> None:
    run = take(cast, csv_of([{}]))
    job = job_of(run)
    ImportRun.objects.of_group(cast.group).all().delete()
    run_job(str(job.pk))
    assert "kept no longer" in Job.objects.of_group(cast.group).get(pk=job.pk).problem


def test_a_loaded_sheet_keeps_nothing_of_its_check(cast: Cast) -> None:
    run = done(take(cast, csv_of([{}])))
    imports.load_run(person=cast.person("coordinator"), run=run)
    run.refresh_from_db()
    assert (run.report, run.file.name) == (None, "")


def test_rows_to_mend_go_with_a_sheet_that_is_sound_by_now(
    cast: Cast, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    run = done(take(cast, csv_of([{"site": "ZZ9"}])))
    place = Path(run.to_mend.path)
    assert place.exists()
    SiteFactory(group=cast.group, code="ZZ9")
    with django_capture_on_commit_callbacks(execute=True):
        imports.load_run(person=cast.person("coordinator"), run=run)
    run.refresh_from_db()
    assert (run.to_mend.name, place.exists()) == ("", False)


def test_rows_to_mend_that_were_left_over_go_by_the_sweep(cast: Cast) -> None:
    run = done(take(cast, csv_of([{"site": "ZZ9"}])))
    ImportRun.objects.of_group(cast.group).update(file="", loaded_at=timezone.now())
    assert imports.forget_old_sheets(timezone.now() + timedelta(days=8)) == 1
    assert not Path(run.to_mend.path).exists()
