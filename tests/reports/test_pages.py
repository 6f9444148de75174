"""The pages of the yearly report."""

from __future__ import annotations

from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.urls import reverse

from portal.accounts.models import Group, User
from portal.audit.sealing import seal_waiting
from portal.audit.verifying import verify_trail
from portal.jobs.models import Job
from portal.jobs.working import work_off
from portal.reports.models import YearlyReport
from portal.reports.services import make_report, publish_report, request_report
from portal.views.faults import server_error
from tests.emptying import past_triggers
from tests.reports.conftest import YEAR, YearBook, say_correction

State = YearlyReport.State


@pytest.fixture
def visited(book: YearBook) -> YearBook:
    book.visit(date(YEAR, 3, 10))
    return book


@pytest.fixture
def draft(visited: YearBook) -> YearlyReport:
    report = request_report(person=visited.cast.person("coordinator"), group=visited.group, year=YEAR)
    make_report(report.pk)
    report.refresh_from_db()
    return report


@pytest.fixture
def published(visited: YearBook, draft: YearlyReport) -> YearlyReport:
    return publish_report(person=visited.cast.person("coordinator"), report=draft)


def as_user(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def address(name: str, report: YearlyReport) -> str:
    if name.startswith("public"):
        return reverse(name, args=[report.pk])
    return reverse(name, args=[report.group.slug, report.pk])


def list_of(book: YearBook) -> str:
    return reverse("report_list", args=[book.group.slug])


def text(response: Any) -> str:
    return str(response.content.decode())


def body(response: Any) -> bytes:
    return b"".join(response.streaming_content)


def test_a_report_whose_file_is_gone_is_said_to_be(published: YearlyReport) -> None:
    """As after a database that was restored without its files."""
    reader = Client(raise_request_exception=False)
    given = address("public_report_file", published)
    assert body(reader.get(given)).startswith(b"%PDF")
    Path(published.file.path).unlink()
    response = reader.get(given)
    assert response.status_code == 404
    assert "This file is gone" in text(response)


def test_other_missing_files_stay_faults(rf: Any) -> None:
    """One of the portal's own that is missing is nobody's lost upload."""
    try:
        Path(__file__).with_name("nowhere").read_bytes()
    except FileNotFoundError:
        assert server_error(rf.get("/")).status_code == 500


def test_a_coordinator_orders_a_report_and_lands_on_its_page(visited: YearBook) -> None:
    client = as_user(visited.cast.coordinator)
    response = client.post(list_of(visited), {"year": YEAR, "foreword": "A dry spring."})
    report = YearlyReport.objects.of_group(visited.group).get()
    assert (response.status_code, response["Location"]) == (302, address("report_detail", report))
    assert (report.foreword, report.state) == ("A dry spring.", State.QUEUED)


def test_the_form_offers_the_years_with_records(visited: YearBook) -> None:
    visited.visit(date(YEAR - 2, 3, 10))
    page = text(as_user(visited.cast.coordinator).get(list_of(visited)))
    assert [f'<option value="{year}"' in page for year in (YEAR + 1, YEAR, YEAR - 1, YEAR - 2, YEAR - 3)] == [
        False,
        True,
        True,
        True,
        False,
    ]


def test_a_group_without_visits_is_told_so(book: YearBook) -> None:
    assert "no visit on record" in text(as_user(book.cast.coordinator).get(list_of(book)))


def test_a_wrong_year_is_refused_at_the_field_and_the_foreword_kept(visited: YearBook) -> None:
    data = {"year": "1900", "foreword": "Long words."}
    response = as_user(visited.cast.coordinator).post(list_of(visited), data)
    assert response.status_code == 422
    assert 'aria-invalid="true"' in text(response)
    assert "Long words." in text(response)
    assert not YearlyReport.objects.of_group(visited.group).exists()


def test_a_volunteer_sees_published_reports_only_and_no_form(visited: YearBook, draft: YearlyReport) -> None:
    page = text(as_user(visited.cast.volunteer).get(list_of(visited)))
    assert "None has been published yet." in page
    assert "<textarea" not in page
    publish_report(person=visited.cast.person("coordinator"), report=draft)
    assert f"Report on {YEAR}" in text(as_user(visited.cast.volunteer).get(list_of(visited)))


@pytest.mark.parametrize("name", ["report_detail", "report_file"])
@pytest.mark.parametrize(
    ("role", "status"),
    [("coordinator", 200), ("second_coordinator", 200), ("volunteer", 403), ("neighbour_coordinator", 404)],
)
def test_a_draft_is_for_coordinators(
    visited: YearBook, draft: YearlyReport, name: str, role: str, status: int
) -> None:
    with closing(as_user(getattr(visited.cast, role)).get(address(name, draft))) as response:
        assert response.status_code == status


@pytest.mark.parametrize(("role", "status"), [("volunteer", 403), ("neighbour_coordinator", 404)])
def test_others_can_neither_order_nor_publish(
    visited: YearBook, draft: YearlyReport, role: str, status: int
) -> None:
    client = as_user(getattr(visited.cast, role))
    assert client.post(list_of(visited), {"year": YEAR}).status_code == status
    assert client.post(address("report_publish", draft)).status_code == status
    draft.refresh_from_db()
    assert draft.state == State.READY


def test_the_page_shows_how_far_the_work_is_and_asks_again_by_itself(visited: YearBook) -> None:
    report = request_report(person=visited.cast.person("coordinator"), group=visited.group, year=YEAR)
    Job.objects.of_group(visited.group).update(state="running", done=40, total=100, step="Drawing site 1 of 2")
    page = text(as_user(visited.cast.coordinator).get(address("report_detail", report)))
    assert "Drawing site 1 of 2" in page
    assert 'value="40" max="100"' in page
    assert f'hx-get="{reverse("job_progress", args=[report.group.slug, report.job_id])}"' in page
    assert "Look again" in page
    assert reverse("job_stop", args=[report.group.slug, report.job_id]) in page


def test_a_failure_is_shown_with_a_way_to_try_again(visited: YearBook, draft: YearlyReport) -> None:
    YearlyReport.objects.of_group(visited.group).update(state=State.FAILED, problem="The disk is full.")
    page = text(as_user(visited.cast.coordinator).get(address("report_detail", draft)))
    assert "The disk is full." in page
    assert "Try again" in page


def test_publishing_opens_the_report_to_everybody(visited: YearBook, draft: YearlyReport) -> None:
    nobody = Client()
    assert nobody.get(address("public_report", draft)).status_code == 404
    assert nobody.get(address("public_report_file", draft)).status_code == 404
    client = as_user(visited.cast.coordinator)
    ordered = client.post(address("report_publish", draft))
    work_off(Job.objects.of_group(visited.group).get(kind="report_publishing").pk)
    assert "The report is published." in text(client.get(ordered["Location"]))
    page = text(nobody.get(address("public_report", draft)))
    assert "Volunteers made 1 visit to 1 site" in page
    assert address("public_report_file", draft) in page


def test_a_report_without_a_licence_leads_to_the_terms_of_today(published: YearlyReport) -> None:
    """It stays as it was published; what was chosen since stands beside the open data, if there is a page."""
    link = reverse("public_data", args=[published.group.slug])
    page = text(Client().get(address("public_report", published)))
    assert "had not chosen a licence when this report was made" in page
    assert link not in page
    Group.objects.filter(pk=published.group.pk).update(is_public=True)
    assert f'<a href="{link}">open data</a>' in text(Client().get(address("public_report", published)))


def test_the_public_file_is_the_published_pdf(published: YearlyReport) -> None:
    response = Client().get(address("public_report_file", published))
    assert response["Content-Type"] == "application/pdf"
    assert f'filename="alder-beck-{YEAR}-1.pdf"' in response["Content-Disposition"]
    assert body(response) == Path(published.file.path).read_bytes()


def test_whoever_has_a_published_page_need_not_fetch_it_again(
    visited: YearBook, published: YearlyReport, django_assert_num_queries: Any
) -> None:
    for name, queries in (("public_report", 3), ("public_report_file", 1), ("public_report_figures", 2)):
        with django_assert_num_queries(queries):
            first = Client().get(address(name, published))
        body(first) if first.streaming else first.content
        with django_assert_num_queries(1):
            again = Client().get(address(name, published), headers={"If-None-Match": first["ETag"]})
        assert (again.status_code, again.content) == (304, b"")
    second = request_report(person=visited.cast.person("coordinator"), group=visited.group, year=YEAR)
    make_report(second.pk)
    say_correction(visited, second)
    known = Client().get(address("public_report", published))["ETag"]
    publish_report(person=visited.cast.person("coordinator"), report=second)
    # It names the corrected edition now.
    changed = Client().get(address("public_report", published), headers={"If-None-Match": known})
    assert changed.status_code == 200


def test_a_search_engine_is_told_the_address_and_spoken_to_as_the_group(published: YearlyReport) -> None:
    Group.objects.filter(id=published.group_id).update(language="de")
    page = text(Client().get(address("public_report", published)))
    assert '<html lang="de"' in page
    assert f'<link rel="canonical" href="{settings.BASE_URL}{address("public_report", published)}">' in page
    assert 'hreflang="de"' in page
    assert f'<meta name="description" content="Was {published.group.name} ' in page
    # The sentences are frozen in the language that they were written in.
    assert f'<ul lang="{published.data["language"]}">' in page
    assert published.data["language"] != "de"


def test_publishing_twice_says_that_it_is_done(visited: YearBook, published: YearlyReport) -> None:
    response = as_user(visited.cast.coordinator).post(address("report_publish", published), follow=True)
    assert "cannot be published, because its state is: published" in text(response)


def test_an_older_edition_points_to_the_newer(visited: YearBook, published: YearlyReport) -> None:
    second = request_report(person=visited.cast.person("coordinator"), group=visited.group, year=YEAR)
    make_report(second.pk)
    say_correction(visited, second)
    assert "corrected edition" not in text(Client().get(address("public_report", published)))
    publish_report(person=visited.cast.person("coordinator"), report=second)
    old = text(Client().get(address("public_report", published)))
    assert address("public_report", second) in old
    assert "What it corrects: A visit was counted twice." in old
    new = text(Client().get(address("public_report", second)))
    assert "corrected edition" not in new
    assert "<p>A visit was counted twice.</p>" in new
    assert address("public_report", published) in new


def test_a_made_up_address_leads_nowhere(db: None) -> None:
    assert Client().get(reverse("public_report", args=[uuid4()])).status_code == 404
    assert Client().get(reverse("public_report_file", args=[uuid4()])).status_code == 404


def test_a_draft_is_never_kept_by_a_cache(visited: YearBook, draft: YearlyReport) -> None:
    response = as_user(visited.cast.coordinator).get(address("report_file", draft))
    assert "no-store" in response["Cache-Control"]
    assert body(response).startswith(b"%PDF-")


@pytest.mark.parametrize("name", ["report_publish"])
def test_looking_never_publishes(visited: YearBook, draft: YearlyReport, name: str) -> None:
    assert as_user(visited.cast.coordinator).get(address(name, draft)).status_code == 405


def test_the_list_costs_as_many_queries_for_many_reports(
    visited: YearBook, published: YearlyReport, django_assert_max_num_queries: Any
) -> None:
    for edition in range(2, 30):
        YearlyReport.objects.create(group=visited.group, year=YEAR, edition=edition, data=published.data)
    client = as_user(visited.cast.coordinator)
    with django_assert_max_num_queries(8):
        client.get(list_of(visited))


def test_a_published_report_is_a_witness_of_the_audit_trail(visited: YearBook, draft: YearlyReport) -> None:
    """Its figures, which anybody may keep, name the end of the trail; the check holds the trail to it."""
    end = seal_waiting()
    published = publish_report(person=visited.cast.person("coordinator"), report=draft)
    assert published.data["trail"] == str(end)
    found = verify_trail()
    assert (found.broken, found.witnesses) == (None, 1)
    with past_triggers(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM audit_auditentry")
        cursor.execute("DELETE FROM audit_rowchange")
        cursor.execute("DELETE FROM audit_waiting")
        cursor.execute("DELETE FROM audit_link")
    broken = verify_trail().broken
    assert broken is not None
    assert broken.words.startswith(
        f"The report {published.identifier} knows of link {end.number}, which is gone"
    )


def test_a_report_of_before_there_was_a_chain_is_no_witness(published: YearlyReport) -> None:
    assert "trail" not in published.data
    assert verify_trail().witnesses == 0
