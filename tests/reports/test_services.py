"""Ordering, making and publishing a report."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.http import Http404
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.audit.services import history_of
from portal.celery import app
from portal.jobs.models import Job
from portal.jobs.services import stop_job
from portal.jobs.working import MOST_ATTEMPTS, Progress, work_off
from portal.reports.models import YearlyReport
from portal.reports.services import (
    CorrectionMissing,
    NotReady,
    make_report,
    publish_report,
    request_publishing,
    request_report,
)
from tests.reports.conftest import YEAR, YearBook, say_correction

State = YearlyReport.State


def order(book: YearBook, *, by: str = "coordinator", foreword: str = "") -> YearlyReport:
    return request_report(person=book.cast.person(by), group=book.group, year=YEAR, foreword=foreword)


def made(book: YearBook) -> YearlyReport:
    """A draft ready to read."""
    report = order(book)
    make_report(report.pk)
    report.refresh_from_db()
    return report


@pytest.fixture
def visited(book: YearBook) -> YearBook:
    book.visit(date(YEAR, 3, 10))
    return book


def test_it_makes_a_report_with_a_file_frozen_figures_and_audit_rows(visited: YearBook) -> None:
    report = made(visited)
    assert (report.state, report.edition) == (State.READY, 1)
    assert report.data["totals"]["made"] == 1
    assert Path(report.file.path).read_bytes()[:5] == b"%PDF-"
    verbs = [entry.verb for entry in history_of(report, visited.group)]
    assert verbs == ["report.requested", "report.made"]


def test_its_file_name_gives_nothing_away(visited: YearBook) -> None:
    name = Path(made(visited).file.name or "").stem
    assert len(name) == 36
    assert visited.group.slug not in name


def test_it_refuses_a_volunteer_and_hides_from_a_stranger(visited: YearBook) -> None:
    with pytest.raises(PermissionDenied):
        order(visited, by="volunteer")
    with pytest.raises(Http404):
        order(visited, by="neighbour_coordinator")
    assert not YearlyReport.objects.of_group(visited.group).exists()


def test_it_refuses_a_year_without_records(visited: YearBook) -> None:
    with pytest.raises(ValueError, match="no records"):
        request_report(person=visited.cast.person("coordinator"), group=visited.group, year=YEAR - 1)


def test_ordering_twice_gives_one_edition_with_the_last_foreword(visited: YearBook) -> None:
    first = order(visited, foreword="First thought.")
    second = order(visited, by="second_coordinator", foreword="Second thought.")
    assert first.pk == second.pk
    make_report(first.pk)
    first.refresh_from_db()
    assert first.data["foreword"] == "Second thought."


def test_a_draft_is_made_anew_with_fresh_figures_and_its_old_file_goes(
    visited: YearBook, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    report = made(visited)
    old = Path(report.file.path)
    visited.visit(date(YEAR, 4, 10))
    order(visited)
    with django_capture_on_commit_callbacks(execute=True):
        make_report(report.pk)
    report.refresh_from_db()
    assert (report.edition, report.data["totals"]["made"]) == (1, 2)
    assert Path(report.file.path).exists()
    assert not old.exists()


def test_its_figures_stay_what_they_were_when_records_change(visited: YearBook) -> None:
    report = made(visited)
    visited.visit(date(YEAR, 4, 10))
    publish_report(person=visited.cast.person("coordinator"), report=report)
    report.refresh_from_db()
    assert report.data["totals"]["made"] == 1


def test_it_publishes_only_a_finished_draft(visited: YearBook) -> None:
    report = order(visited)
    with pytest.raises(NotReady):
        publish_report(person=visited.cast.person("coordinator"), report=report)
    make_report(report.pk)
    publish_report(person=visited.cast.person("coordinator"), report=report)
    with pytest.raises(NotReady):
        publish_report(person=visited.cast.person("coordinator"), report=report)


def test_it_lets_no_volunteer_publish(visited: YearBook) -> None:
    report = made(visited)
    with pytest.raises(PermissionDenied):
        publish_report(person=visited.cast.person("volunteer"), report=report)


def test_after_publication_comes_a_new_edition_and_the_old_file_stays(visited: YearBook) -> None:
    first = publish_report(person=visited.cast.person("coordinator"), report=made(visited))
    kept = Path(first.file.path).read_bytes()
    second = made(visited)
    with pytest.raises(CorrectionMissing):
        publish_report(person=visited.cast.person("coordinator"), report=second)
    say_correction(visited, second)
    publish_report(person=visited.cast.person("coordinator"), report=second)
    first.refresh_from_db()
    assert (first.edition, second.edition, first.state) == (1, 2, State.PUBLISHED)
    assert Path(first.file.path).read_bytes() == kept


def test_the_database_itself_refuses_to_change_a_published_report(visited: YearBook) -> None:
    report = publish_report(person=visited.cast.person("coordinator"), report=made(visited))
    with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
        YearlyReport.objects.of_group(visited.group).filter(pk=report.pk).update(foreword="Rewritten.")


def test_a_job_whose_report_was_ordered_anew_stores_nothing(
    visited: YearBook, monkeypatch: pytest.MonkeyPatch
) -> None:
    from portal.reports import document
    from portal.reports.services import making

    report = order(visited)
    real = document.typeset

    def order_meanwhile(html: str) -> bytes:
        order(visited, foreword="Changed my mind.")
        return real(html)

    monkeypatch.setattr(making, "typeset", order_meanwhile)
    make_report(report.pk)
    report.refresh_from_db()
    assert (report.state, report.foreword, report.file.name) == (State.QUEUED, "Changed my mind.", "")


def test_its_progress_is_saved_step_by_step(visited: YearBook, monkeypatch: pytest.MonkeyPatch) -> None:
    steps: list[tuple[int, str]] = []
    real = Progress.__call__

    def listen(progress: Progress, *given: Any) -> None:
        real(progress, *given)
        row = Job.objects.of_group(visited.group).get(pk=progress.job.pk)
        steps.append((row.done, row.step))

    monkeypatch.setattr(Progress, "__call__", listen)
    made(visited)
    assert [percent for percent, _step in steps] == sorted(percent for percent, _step in steps)
    assert (60, "Drawing site 1 of 1") in steps


def test_a_failure_is_said_on_the_report_and_can_be_tried_again(
    visited: YearBook, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    from portal.reports.services import making

    def no_disk(*_args: Any) -> bytes:
        raise OSError("No space left on device")

    report = order(visited)
    with monkeypatch.context() as broken:
        broken.setattr(making, "typeset", no_disk)
        make_report(report.pk)
    report.refresh_from_db()
    assert report.state == State.FAILED
    assert "went wrong" in report.problem
    assert "No space left" in caplog.text
    assert made(visited).pk == report.pk


def test_a_report_that_kills_its_worker_each_time_is_given_up(visited: YearBook) -> None:
    report = order(visited)
    Job.objects.of_group(visited.group).update(attempts=MOST_ATTEMPTS)
    make_report(report.pk)
    report.refresh_from_db()
    assert report.state == State.FAILED
    assert f"{MOST_ATTEMPTS} times" in report.problem


def test_a_report_stopped_by_hand_says_so_and_can_be_made_anew(visited: YearBook) -> None:
    report = order(visited)
    assert report.job is not None
    stop_job(person=visited.cast.person("second_coordinator"), job=report.job)
    report.refresh_from_db()
    assert (report.state, report.problem) == (State.FAILED, "Making it was stopped by hand.")
    make_report(report.pk)
    report.refresh_from_db()
    assert report.state == State.FAILED
    assert made(visited).state == State.READY


def test_publishing_is_a_job_that_ends_with_the_report_public(visited: YearBook) -> None:
    report = made(visited)
    person = visited.cast.person("second_coordinator")
    job = request_publishing(person=person, report=report)
    assert request_publishing(person=person, report=report).pk == job.pk
    work_off(job.pk)
    report.refresh_from_db()
    job.refresh_from_db()
    assert (report.state, report.published_by_id) == (State.PUBLISHED, person.user_id)
    assert (job.state, job.summary) == ("done", "The report is published. Its address stays as it is.")


def test_a_draft_that_was_ordered_anew_meanwhile_is_not_published(visited: YearBook) -> None:
    job = request_publishing(person=visited.cast.person("coordinator"), report=made(visited))
    report = order(visited)
    work_off(job.pk)
    job.refresh_from_db()
    assert job.state == "failed"
    assert "cannot be published, because its state is: waiting to be made" in job.problem
    report.refresh_from_db()
    assert report.state == State.QUEUED


@pytest.fixture
def mute_broker(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A broker that takes the call and never says a word."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        options = {
            "broker_write_url": f"redis://127.0.0.1:{server.getsockname()[1]}/0",
            "broker_transport_options": {"socket_timeout": 0.7, "max_retries": 1},
        }
        usual = {name: app.conf[name] for name in options}
        app.conf.update(options)
        monkeypatch.setattr(app, "_pool", None)
        monkeypatch.setattr(app.amqp, "_producer_pool", None)
        yield
        app.conf.update(usual)


@pytest.mark.usefixtures("mute_broker")
def test_a_dead_broker_neither_stops_nor_delays_the_order(
    visited: YearBook,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    caplog: pytest.LogCaptureFixture,
) -> None:
    begun = time.monotonic()
    with django_capture_on_commit_callbacks(execute=True):
        report = order(visited)
    assert time.monotonic() - begun < 1
    for nudge in [each for each in threading.enumerate() if each.name == "job-nudge"]:
        nudge.join(timeout=30)
    assert f"No broker to tell of job {report.job_id}" in caplog.text
