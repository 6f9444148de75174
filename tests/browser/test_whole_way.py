"""The main job, end to end, as three signed-in people and a contact who has nothing but a mailbox.

Real stream data go in through the import page (Pegaz-Maucet 1980, carried by the R package ade4; see
tests/published/data/SOURCE.md): the trigger stands on the scores of S1, above a sewage inflow, and the new
visit is the summer sample of S2, below it. Web server, PostgreSQL, Redis, worker, SMTP and browser are real.
"""

from __future__ import annotations

import re
from collections import Counter
from email.message import EmailMessage
from io import BytesIO
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader
from pytest_django import Settings

from alerts.models import Incident, IncidentState
from scoring.indices import score_sample
from scoring.samples import Count
from scoring.taxa import roll_up
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago
from tests.faults.conftest import StartWorker, empty_queue, postbox, start_worker
from tests.mail import Postbox, text_of
from tests.processes import await_true
from tests.published.test_meaudret_import import as_csv, import_rows, rows_of

__all__ = ["empty_queue", "postbox", "start_worker"]
pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

OFFICER = "ines@rivers.example"
PHONE = 360


@pytest.fixture
def shared_media(settings: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One folder of files for the web server here and the worker in its own process."""
    settings.MEDIA_ROOT = tmp_path / "media"
    monkeypatch.setenv("MEDIA_ROOT", str(tmp_path / "media"))


def summer_s2() -> Counter[str]:
    """The summer sample below the inflow, by family."""
    families: Counter[str] = Counter()
    for row in rows_of("meaudret_counts.csv"):
        if row["sample"] == "su_2":
            taxon = roll_up(row["taxon"])
            assert taxon is not None
            families[taxon.name] += int(row["abundance"])
    return families


def summer_s2_score() -> float | None:
    """Its BMWP score, from the counts file alone."""
    return score_sample(Count(family, count) for family, count in summer_s2().items())["bmwp"].value


def load_past_visits(page: Page, sheet: Path) -> None:
    """The coordinator loads four seasons of five sites from a spreadsheet."""
    page.get_by_role("button", name="More").click()
    page.get_by_role("link", name="Load a spreadsheet").click()
    page.locator("input[type=file]").set_input_files(sheet)
    page.get_by_role("button", name="Check the sheet").click()
    page.get_by_role("button", name="Load 20 visits").click()
    expect(page.get_by_role("heading", name=re.compile("meaudret"))).to_be_visible()


def name_the_contact(page: Page) -> None:
    page.goto("/groups/alder-beck/contacts/new/")
    page.locator("#id_name").fill("Ines Officer")
    page.locator("#id_organisation").fill("Vale Water Regulator")
    page.locator("#id_email").fill(OFFICER)
    page.get_by_role("button", name="Add").click()


def put_contact_in_charge(page: Page, cast: Cast) -> None:
    page.goto(f"/groups/alder-beck/sites/{cast.site.id}/contacts/")
    page.locator("main form[method=post] select").first.select_option("1")
    page.get_by_role("button", name="Save the order").click()


def set_the_trigger(page: Page, cast: Cast) -> None:
    """A level that stands on the scores of S1: below the lowest of its four seasons."""
    page.goto(f"/groups/alder-beck/sites/{cast.site.id}/trigger/")
    form = page.locator("main form[method=post]").last
    form.locator("[name=index]").select_option("bmwp")
    form.locator("[name=level]").fill("30")
    form.get_by_label("Valid from").fill(days_ago(30).isoformat())
    form.get_by_label("Why this level").fill("Below every season of S1 so far; agreed with the agency.")
    form.get_by_label("Test visits although the baseline is provisional").check()
    form.get_by_role("button", name="Set the trigger").click()


def send_in_the_visit(page: Page) -> None:
    """A volunteer on a phone types the polluted sample as a visit of yesterday."""
    page.goto("/groups/alder-beck/")
    page.get_by_role("button", name=re.compile("Record a visit.*to S1")).click()
    page.get_by_label("Date of the visit").fill(days_ago(1).isoformat())
    page.get_by_label("Or the partner's name").fill("Sam Example")
    page.get_by_label("Water level").select_option("normal")
    for spot in (1, 2, 3):
        page.locator(f"[name=spots-{spot}-flow_type]").select_option("riffle")
        page.locator(f"[name=spots-{spot}-seconds]").fill("30")
    for family, count in summer_s2().items():
        page.get_by_label("Find a group").fill(family)
        page.locator(f"[name=counts-{family}-count]").fill(str(count))
    page.get_by_role("button", name="Submit the visit").click()
    expect(page.get_by_text("Your visit has arrived and is scored.")).to_be_visible()


def alert_to_the_officer(box: Postbox) -> EmailMessage:
    """The alert, once the worker has sent it."""
    await_true(lambda: OFFICER in box.recipients, "no alert reached the officer")
    return next(mail for mail in box.mails if OFFICER in str(mail["To"]))


def link_in(mail: EmailMessage) -> str:
    """The path of the signed link."""
    found = re.search(r"http\S+/alert/\S+", text_of(mail))
    assert found
    return urlsplit(found[0]).path


def acknowledge(page: Page, mail: EmailMessage) -> None:
    """Without an account: the page shows, and only the button acts."""
    page.goto(link_in(mail))
    assert Incident.objects.across_groups("test").get().state == IncidentState.OPEN
    assert_accessible(page)
    page.get_by_role("button", name=re.compile("Acknowledge", re.IGNORECASE)).click()
    await_true(
        lambda: Incident.objects.across_groups("test").get().state == IncidentState.ACKNOWLEDGED,
        "the click did not acknowledge",
    )


def approve_the_visit(page: Page) -> None:
    """The second coordinator decides what waits; the first of the queue is the visit or a past record."""
    page.goto("/groups/alder-beck/review/")
    page.get_by_role("link", name=re.compile(rf"S1.*{days_ago(1).year}")).click()
    reason = page.get_by_label("Why all open findings are right as recorded")
    if reason.count():
        reason.fill("Looked at the tray together.")
    page.get_by_role("button", name="Approve").click()
    expect(page.get_by_text(re.compile("approved", re.IGNORECASE)).first).to_be_visible()


def publish_the_year(page: Page) -> str:
    """Make the report, watch it being made, publish it; the path of its public page."""
    page.goto("/groups/alder-beck/reports/")
    page.get_by_label("Year").select_option(str(days_ago(1).year))
    page.get_by_role("button", name="Make the report").click()
    page.get_by_role("button", name="Publish the report").click(timeout=90_000)
    page.get_by_role("link", name="See what came of it").click(timeout=90_000)
    link = page.locator("main a[href^='/public/reports/']").last
    expect(link).to_be_visible()
    return str(link.get_attribute("href"))


def read_the_report(page: Page, public: str) -> str:
    """The text of the published PDF, read by nobody in particular."""
    page.goto(public)
    assert_accessible(page)
    pdf = page.request.get(f"{public}report.pdf")
    assert pdf.status == 200
    return " ".join(each.extract_text() for each in PdfReader(BytesIO(pdf.body())).pages)


def prepare_the_group(coordinator: Page, cast: Cast, sheet: Path) -> None:
    """Past visits, a contact and a trigger, all through the pages."""
    coordinator.goto("/")
    load_past_visits(coordinator, sheet)
    name_the_contact(coordinator)
    put_contact_in_charge(coordinator, cast)
    set_the_trigger(coordinator, cast)


@pytest.fixture
def stream(cast: Cast, tmp_path: Path) -> Path:
    """Five sites along the stream, and the sheet of their past visits."""
    cast.site.code, cast.site.name = "S1", "Above the inflow"
    cast.site.save()
    for code in ("S2", "S3", "S4", "S5"):
        SiteFactory(group=cast.group, code=code)
    sheet = tmp_path / "meaudret.csv"
    sheet.write_bytes(as_csv(import_rows()))
    return sheet


def check_alert(alert: EmailMessage) -> None:
    assert "not yet checked" in text_of(alert).lower()
    assert "54.5" in text_of(alert)
    assert [part for part in alert.walk() if part.get_content_type() == "image/png"]


@pytest.mark.usefixtures("shared_media")
def test_a_visit_goes_from_the_bank_to_the_published_year(
    cast: Cast, stream: Path, page_for: PageFor, postbox: Postbox, start_worker: StartWorker
) -> None:
    start_worker()
    prepare_the_group(page_for(cast.coordinator), cast, stream)
    send_in_the_visit(page_for(cast.volunteer, width=PHONE))
    alert = alert_to_the_officer(postbox)
    check_alert(alert)
    acknowledge(page_for(width=PHONE), alert)

    checker = page_for(cast.second_coordinator)
    approve_the_visit(checker)
    await_true(lambda: postbox.recipients.count(OFFICER) >= 2, "the officer was not told of the confirmation")
    assert any(str(mail["Subject"]).startswith("Confirmed") for mail in postbox.mails)

    text = read_the_report(page_for(), publish_the_year(checker))
    low = cast.site.visits.get(visited_on=days_ago(1))
    score = low.scores.get(index="bmwp", is_current=True).value
    assert score == summer_s2_score()
    assert re.search(rf"\b{score:.0f}\b", text[text.index("Above the inflow") :])
