"""From the bank to the agency and back, over real SMTP: nothing is mocked."""

from __future__ import annotations

import re
from collections.abc import Iterator
from email.message import EmailMessage
from io import BytesIO

import pytest
from django.test import Client
from PIL import Image
from pytest_django import Settings

from alerts.models import IncidentState
from portal.outbox.models import State
from portal.outbox.tasks import sweep_outbox
from surveys.services.visits import approve_visit
from tests.alerts.conftest import Watch, course, mails, the_incident
from tests.alerts.test_incidents import correct
from tests.factories import CLEAN_COUNTS
from tests.mail import Postbox, html_of, receiving, smtp_settings, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def postbox(settings: Settings) -> Iterator[Postbox]:
    with receiving() as box:
        settings.OUTBOX_SMTP = smtp_settings(box.port)
        yield box


def mails_to(box: Postbox, address: str) -> list[EmailMessage]:
    return [mail for mail in box.mails if address in mail["To"]]


def link_in(mail: EmailMessage) -> str:
    found = re.search(r"http://localhost:8000(/alert/\S+)", text_of(mail))
    assert found, text_of(mail)
    return found[1]


def test_it_goes_the_whole_way_from_a_low_visit_to_its_outcome(watch: Watch, postbox: Postbox) -> None:
    visit = watch.submit_low()
    sweep_outbox()
    alert = mails_to(postbox, "ines@rivers.example")[0]
    address = link_in(alert)
    assert address in html_of(alert)

    contact = Client()
    assert "Not yet checked" in contact.get(address).content.decode()
    contact.post(f"{address}acknowledge/")
    assert the_incident().state == IncidentState.ACKNOWLEDGED

    approve_visit(person=watch.cast.person("coordinator"), visit=visit, accept_findings_reason="As recorded.")
    sweep_outbox()
    confirmed = mails_to(postbox, "ines@rivers.example")[1]
    assert str(confirmed["Subject"]).startswith("Confirmed:")
    assert "Checked and approved" in contact.get(link_in(confirmed)).content.decode()

    given = {"note": "Pump mended.", "reference": "R-77", "outcome": "source_stopped"}
    contact.post(f"{address}outcome/", given)
    assert (the_incident().state, the_incident().agency_reference) == (IncidentState.CLOSED, "R-77")
    sweep_outbox()
    assert "Pump mended." in text_of(mails_to(postbox, "cora@example.org")[-1])
    assert course(the_incident()) == ["opened", "told", "acknowledged", "confirmed", "closed"]
    assert {each.state for each in mails()} == {State.SENT}


def test_it_sends_a_picture_that_opens(watch: Watch, postbox: Postbox) -> None:
    watch.submit_low()
    sweep_outbox()
    alert = mails_to(postbox, "ines@rivers.example")[0]
    part = next(each for each in alert.walk() if each.get_content_type() == "image/png")
    picture = Image.open(BytesIO(part.get_payload(decode=True)))  # type: ignore[arg-type]
    assert picture.size[0] == 800
    assert len(picture.convert("RGB").getcolors(10_000_000) or []) > 10, "a drawing, not a blank sheet"
    assert f"cid:{str(part['Content-ID'])[1:-1]}" in html_of(alert)


def test_it_sends_the_alert_without_the_picture_rather_than_not_at_all(
    watch: Watch, postbox: Postbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    from portal.outbox import pictures

    def broken(**_arguments: str) -> bytes:
        raise RuntimeError("no font")

    monkeypatch.setitem(pictures._makers, "incident", broken)
    watch.submit_low()
    sweep_outbox()
    alert = mails_to(postbox, "ines@rivers.example")[0]
    assert "Chart of BMWP at Stepping stones" in html_of(alert)
    assert "<img" not in html_of(alert)


def test_it_withdraws_in_the_contacts_inbox(watch: Watch, postbox: Postbox) -> None:
    visit = watch.submit_low()
    sweep_outbox()
    correct(watch.cast, visit, CLEAN_COUNTS)
    sweep_outbox()
    first, second = mails_to(postbox, "ines@rivers.example")
    assert "withdrawn" in str(second["Subject"])
    assert first["Message-ID"] != second["Message-ID"]
    shown = Client().get(link_in(first)).content.decode()
    assert "The alert is withdrawn" in shown
    assert "we know" not in shown


def test_it_keeps_every_readers_link_their_own(watch: Watch, postbox: Postbox) -> None:
    watch.submit_low()
    sweep_outbox()
    for mail in postbox.mails:
        is_contact = "ines@rivers.example" in mail["To"]
        assert ("/alert/" in text_of(mail)) == is_contact
