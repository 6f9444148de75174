"""Pages behind signed links: what a contact without an account can read and do."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
import time_machine
from django.core.signing import TimestampSigner
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image
from pytest_django import Settings

from alerts.contacts.links import ALERT, alert_url, make_token
from alerts.models import IncidentState, SiteContact
from alerts.services.incidents import close_incident, renew_links
from surveys.models import Photo, Visit
from tests.alerts.conftest import Watch, course, mails, the_incident

pytestmark = pytest.mark.django_db


@pytest.fixture
def token(watch: Watch, visit: Visit) -> str:
    return make_token(the_incident(), watch.first)


def page(token: str) -> str:
    return reverse("alert_page", args=[token])


def test_it_puts_the_link_into_the_contacts_mail_alone(watch: Watch, visit: Visit) -> None:
    for mail in mails():
        assert ("/alert/" in mail.text) == (mail.to_address == watch.first.email)
    # Without time and signature, which change with the second.
    unsigned = alert_url(the_incident(), watch.first).rpartition(":")[0].rpartition(":")[0]
    assert f"{unsigned}:" in mails(kind="contact.told")[0].text


def test_it_shows_the_evidence_without_an_account(client: Client, token: str) -> None:
    shown = client.get(page(token)).content.decode()
    for words in (
        "Stepping stones",
        "BMWP",
        "Not yet checked by the group",
        "01632 960001",
        "no emergency service",
    ):
        assert words in shown


@pytest.mark.parametrize("method", ["get", "head"])
def test_it_acknowledges_nothing_by_reading(client: Client, token: str, method: str) -> None:
    for _ in range(3):
        assert getattr(client, method)(page(token)).status_code == 200
    assert the_incident().state == IncidentState.OPEN
    assert course(the_incident()) == ["opened", "told"]


@pytest.mark.parametrize("name", ["alert_acknowledge", "alert_outcome"])
@pytest.mark.parametrize("method", ["get", "head", "put", "delete"])
def test_it_acts_on_a_post_only(client: Client, token: str, name: str, method: str) -> None:
    assert getattr(client, method)(reverse(name, args=[token])).status_code == 405
    assert the_incident().state == IncidentState.OPEN


def test_it_acknowledges_by_the_button_and_says_by_whom(client: Client, token: str) -> None:
    answer = client.post(reverse("alert_acknowledge", args=[token]), follow=True)
    assert answer.redirect_chain == [(page(token), 302)]
    assert the_incident().state == IncidentState.ACKNOWLEDGED
    assert the_incident().acknowledged_by == "by link sent to Ines Halloran"
    assert "by link sent to Ines Halloran" in answer.content.decode()


def test_it_acknowledges_once(client: Client, token: str) -> None:
    for _ in range(2):
        client.post(reverse("alert_acknowledge", args=[token]))
    assert course(the_incident()).count("acknowledged") == 1


def test_it_needs_the_forgery_token(token: str) -> None:
    strict = Client(enforce_csrf_checks=True)
    assert strict.post(reverse("alert_acknowledge", args=[token])).status_code == 403
    strict.get(page(token))
    key = strict.cookies["csrftoken"].value
    answer = strict.post(reverse("alert_acknowledge", args=[token]), {"csrfmiddlewaretoken": key})
    assert answer.status_code == 302


def test_it_does_not_tell_browsers_to_hide_where_the_form_comes_from(client: Client, token: str) -> None:
    """With "no-referrer" browsers send `Origin: null`, and every button here would be refused."""
    answer = client.get(page(token))
    assert answer["Referrer-Policy"] == "same-origin"
    assert 'name="referrer" content="no-referrer"' not in answer.content.decode()


def test_it_is_neither_kept_nor_indexed(client: Client, token: str) -> None:
    answer = client.get(page(token))
    assert "no-store" in answer["Cache-Control"]
    assert "noindex" in answer["X-Robots-Tag"]


def test_it_writes_a_note_and_a_reference(client: Client, token: str) -> None:
    client.post(
        reverse("alert_outcome", args=[token]), {"note": "Officer sent.", "reference": "R-5", "outcome": ""}
    )
    incident = the_incident()
    assert (incident.agency_reference, incident.state) == ("R-5", IncidentState.OPEN)
    event = incident.events.get(kind="note")
    assert (event.note, event.actor_name) == ("Officer sent.", "by link sent to Ines Halloran")
    assert event.contact is not None


def test_it_closes_with_an_outcome(client: Client, token: str) -> None:
    given = {"note": "Pipe mended.", "reference": "R-5", "outcome": "source_stopped"}
    client.post(reverse("alert_outcome", args=[token]), given)
    assert (the_incident().state, the_incident().outcome) == (IncidentState.CLOSED, "source_stopped")


def test_it_keeps_what_was_typed_when_something_is_missing(client: Client, token: str) -> None:
    answer = client.post(reverse("alert_outcome", args=[token]), {"note": " ", "reference": ""})
    assert answer.status_code == 422
    assert "Write a note" in answer.content.decode()


def test_it_shows_that_an_incident_is_over_already(client: Client, token: str, watch: Watch) -> None:
    close_incident(
        incident=the_incident(), person=watch.cast.person("coordinator"), outcome="natural", note="Drought."
    )
    shown = client.get(page(token)).content.decode()
    assert "Drought." in shown
    assert "we know" not in shown
    given = {"note": "x", "outcome": "duplicate"}
    assert client.post(reverse("alert_outcome", args=[token]), given).status_code == 422


def test_it_names_no_volunteer(client: Client, token: str, watch: Watch) -> None:
    """Only the one coordinator to call is named."""
    shown = client.get(page(token)).content.decode()
    assert "a volunteer of the group, for the first time at this site" in shown
    for hidden in ("Vera", "vera@", "Owen", "Cole", "cole@", "cora@", "Sam Example"):
        assert hidden not in shown
    assert "Cora Example" in shown


def test_it_names_no_volunteer_in_the_mail_either(watch: Watch, visit: Visit) -> None:
    mail = mails(kind="contact.told")[0]
    for hidden in ("Vera", "vera@", "Owen", "Cole", "cole@", "Sam Example"):
        assert hidden not in mail.text + mail.html


def test_it_shows_hazards_with_the_usual_caution_but_no_access_notes(
    client: Client, token: str, watch: Watch
) -> None:
    watch.site.hazards, watch.site.access_notes = "Bull in the field", "Key under the stone"
    watch.site.level_limit = "the third stepping stone is under water"
    watch.site.landowner = "Farmer Giles"
    watch.site.save()
    shown = client.get(page(token)).content.decode()
    for hidden in ("Key under", "Giles"):
        assert hidden not in shown
    for told in ("Bull in the field", "third stepping stone", "Your own rules and risk assessment come first"):
        assert told in shown


@pytest.mark.parametrize("spoil", ["x", "", "a.b.c"])
def test_it_knows_no_forged_link(client: Client, token: str, spoil: str) -> None:
    forged = token[:-1] + ("A" if token[-1] != "A" else "B") if not spoil else token + spoil
    assert client.get(page(forged)).status_code == 404
    assert client.post(reverse("alert_acknowledge", args=[forged])).status_code == 404


def test_it_takes_no_signature_made_for_something_else(client: Client, watch: Watch, visit: Visit) -> None:
    content = f"{the_incident().id.hex}.{watch.first.id.hex}.1"
    other = TimestampSigner(salt="invitations").sign(content)
    assert client.get(page(other)).status_code == 404
    assert client.get(page(ALERT.make(the_incident().id, watch.first.id, 1))).status_code == 200


@pytest.mark.parametrize(("days", "status"), [(59, 200), (61, 410)])
def test_it_works_for_sixty_days(client: Client, token: str, days: int, status: int) -> None:
    with time_machine.travel(timezone.now() + timedelta(days=days)):
        assert client.get(page(token)).status_code == status


def test_it_dies_when_the_contact_leaves_service(client: Client, token: str, watch: Watch) -> None:
    watch.first.is_active = False
    watch.first.save()
    answer = client.get(page(token))
    assert answer.status_code == 410
    assert "Stepping stones" not in answer.content.decode()
    assert client.post(reverse("alert_acknowledge", args=[token])).status_code == 410
    assert the_incident().state == IncidentState.OPEN


def test_it_dies_when_the_contact_is_no_longer_named_for_the_site(
    client: Client, token: str, watch: Watch
) -> None:
    SiteContact.objects.of_group(watch.cast.group).filter(contact=watch.first).delete()
    assert client.get(page(token)).status_code == 410


def test_it_dies_when_the_links_are_renewed(client: Client, token: str, watch: Watch) -> None:
    renew_links(person=watch.cast.person("coordinator"), incident=the_incident())
    assert client.get(page(token)).status_code == 410
    assert client.get(page(make_token(the_incident(), watch.first))).status_code == 200


def test_it_dies_with_the_incident(client: Client, token: str) -> None:
    the_incident().delete()
    assert client.get(page(token)).status_code == 410


@pytest.fixture
def photo(visit: Visit, settings: Settings, tmp_path: Path) -> Photo:
    settings.MEDIA_ROOT = tmp_path
    (tmp_path / "photos").mkdir()
    Image.new("RGB", (8, 8), "green").save(tmp_path / "photos" / "a.jpg")
    return Photo.objects.create(group=visit.group, visit_number=visit.pk, file="photos/a.jpg", caption="Fungus")


def test_it_shows_the_photos_of_the_incident(client: Client, token: str, photo: Photo) -> None:
    address = reverse("alert_photo", args=[token, photo.pk])
    assert address in client.get(page(token)).content.decode()
    answer = client.get(address)
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/jpeg")
    # Not answer.close(), which would close the connection of all tests of this module.
    for close_file in answer._resource_closers:  # type: ignore[attr-defined]
        close_file()


def test_it_shows_no_photo_of_another_visit(client: Client, token: str, photo: Photo, watch: Watch) -> None:
    photo.visit_number = watch.submit_clean(visited_on=timezone.localdate().isoformat()).pk
    photo.save()
    assert client.get(reverse("alert_photo", args=[token, photo.pk])).status_code == 404
