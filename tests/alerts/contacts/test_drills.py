"""Rehearsals: marked as such, acknowledged by link, shown when overdue or undeliverable."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.test import Client
from django.utils import timezone
from pytest_django import Settings

from alerts.contacts.working_time import policy_of
from alerts.models import AgencyContact, AlertPolicy, Drill
from alerts.services.drills import acknowledge_drill, contacts_to_rehearse, drill_url, readiness_of, send_drill
from portal.audit.services import history_of
from portal.outbox.tasks import sweep_outbox
from tests.alerts.conftest import Watch, kinds_to, mails, name_contact
from tests.mail import receiving, smtp_settings

pytestmark = pytest.mark.django_db
INES = "ines@rivers.example"


def rehearse(watch: Watch) -> Drill:
    return send_drill(person=watch.cast.person("coordinator"), contact=watch.first)


def again(drill: Drill) -> Drill:
    return Drill.objects.filter(group=drill.group_id).get(pk=drill.pk)


def path_of(drill: Drill) -> str:
    return "/" + drill_url(drill).split("/", 3)[3]


def test_the_message_says_in_every_part_that_nothing_has_happened(watch: Watch) -> None:
    rehearse(watch)
    (mail,) = mails(kind="contact.drill")
    assert mail.to_address == INES
    assert mail.subject == "REHEARSAL, nothing has happened: please acknowledge [Alder Beck Watch]"
    assert mail.text.startswith("REHEARSAL: NOTHING HAS HAPPENED")
    assert "Rehearsal: nothing has happened" in mail.html
    assert set(re.findall(r"https?://\S+/rehearsal/[^\s\"<]+", mail.text)) == set(
        re.findall(r"https?://[^\s\"]+/rehearsal/[^\s\"<]+", mail.html)
    )


def test_it_is_acknowledged_by_the_button_and_not_by_reading(watch: Watch, client: Client) -> None:
    drill = rehearse(watch)
    page = client.get(path_of(drill))
    assert "This is a rehearsal: nothing has happened" in page.content.decode()
    assert again(drill).acknowledged_at is None
    assert client.post(path_of(drill) + "acknowledge/").status_code == 302
    first = again(drill).acknowledged_at
    assert first is not None
    acknowledge_drill(drill=drill)
    assert again(drill).acknowledged_at == first
    assert [row.verb for row in history_of(drill, watch.cast.group)] == ["drill.sent", "drill.acknowledged"]
    assert "Acknowledged on" in client.get(path_of(drill)).content.decode()


@pytest.mark.parametrize("method", ["get", "post"])
def test_a_forged_link_is_unknown_and_an_old_one_says_so(watch: Watch, client: Client, method: str) -> None:
    drill = rehearse(watch)
    suffix = "acknowledge/" if method == "post" else ""
    good = path_of(drill)
    assert getattr(client, method)(good[:-3] + "xx/" + suffix).status_code == 404
    with time_machine.travel(timezone.now() + timedelta(days=61), tick=True):
        assert getattr(client, method)(good + suffix).status_code == 410


def test_the_link_dies_with_the_service_of_the_contact(watch: Watch, client: Client) -> None:
    drill = rehearse(watch)
    AgencyContact.objects.of_group(watch.cast.group).filter(pk=watch.first.pk).update(is_active=False)
    assert client.get(path_of(drill)).status_code == 410


def test_a_second_one_so_soon_is_refused(watch: Watch) -> None:
    rehearse(watch)
    with pytest.raises(ValidationError, match="last 12 hours"):
        rehearse(watch)
    with time_machine.travel(timezone.now() + timedelta(hours=12, minutes=1), tick=True):
        rehearse(watch)
    assert kinds_to(INES) == ["contact.drill"] * 2


def test_nobody_out_of_service_is_written_to(watch: Watch) -> None:
    watch.first.is_active = False
    with pytest.raises(ValidationError, match="out of service"):
        rehearse(watch)
    assert mails() == []


@pytest.mark.parametrize(
    ("who", "refusal"), [("volunteer", PermissionDenied), ("neighbour_coordinator", Http404)]
)
def test_only_the_groups_coordinators_may(watch: Watch, who: str, refusal: type[Exception]) -> None:
    with pytest.raises(refusal):
        send_drill(person=watch.cast.person(who), contact=watch.first)


def names_overdue(watch: Watch) -> list[str]:
    limit = timezone.now() - timedelta(days=policy_of(watch.cast.group).drill_days)
    names = [each.name for each in contacts_to_rehearse(watch.cast.group, limit)]
    assert names == [each.contact.name for each in readiness_of(watch.cast.group) if each.is_overdue]
    return names


def test_whoever_never_answered_is_overdue_and_an_answer_lasts_as_long_as_the_group_wants(watch: Watch) -> None:
    assert names_overdue(watch) == ["Bo Lindqvist", "Ines Halloran"]
    drill = rehearse(watch)
    assert names_overdue(watch) == ["Bo Lindqvist", "Ines Halloran"], "sent is not answered"
    acknowledge_drill(drill=drill)
    assert names_overdue(watch) == ["Bo Lindqvist"]
    AlertPolicy.objects.create(group=watch.cast.group, drill_days=30)
    for days, overdue in ((29, ["Bo Lindqvist"]), (31, ["Bo Lindqvist", "Ines Halloran"])):
        with time_machine.travel(timezone.now() + timedelta(days=days), tick=True):
            assert names_overdue(watch) == overdue


def test_only_contacts_in_service_who_are_named_for_a_site_are_asked_of(watch: Watch) -> None:
    unnamed = name_contact(watch.site, 3, "Uma", "uma@rivers.example")
    unnamed.sites.all().delete()
    name_contact(watch.site, 4, "Old", "old@rivers.example", is_active=False)
    assert [each.contact.name for each in readiness_of(watch.cast.group)] == ["Bo Lindqvist", "Ines Halloran"]


def test_a_refused_address_is_shown_with_the_servers_answer(
    watch: Watch, client: Client, settings: Settings
) -> None:
    with receiving() as postbox:
        settings.OUTBOX_SMTP = smtp_settings(postbox.port)
        postbox.rcpt_answers = {INES: "550 no such mailbox"}
        rehearse(watch)
        sweep_outbox()
    client.force_login(watch.cast.coordinator)
    page = client.get("/groups/alder-beck/rehearsals/").content.decode()
    assert "could not be delivered:" in page
    assert "no such mailbox" in page


def test_the_desk_speaks_of_overdue_rehearsals_until_they_are_answered(watch: Watch, client: Client) -> None:
    client.force_login(watch.cast.coordinator)
    assert "2 rehearsals overdue" in client.get("/groups/alder-beck/").content.decode()
    for contact in (watch.first, watch.second):
        answer = client.post(f"/groups/alder-beck/contacts/{contact.pk}/rehearse/", {"back": "desk"})
        assert answer["Location"] == "/groups/alder-beck/"
    assert "on its way, not answered yet" in client.get("/groups/alder-beck/").content.decode()
    for drill in Drill.objects.of_group(watch.cast.group):
        acknowledge_drill(drill=drill)
    assert "Addresses to rehearse" not in client.get("/groups/alder-beck/").content.decode()


def test_a_refusal_is_said_on_the_page(watch: Watch, client: Client) -> None:
    client.force_login(watch.cast.coordinator)
    address = f"/groups/alder-beck/contacts/{watch.first.pk}/rehearse/"
    client.post(address)
    assert "had a rehearsal in the last 12 hours" in client.post(address, follow=True).content.decode()
