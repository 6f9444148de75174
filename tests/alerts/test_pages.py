"""The pages of incidents, triggers, contacts and messages: what they show, whom they let in, what they cost."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from alerts.models import AgencyContact, Incident, SiteContact, Trigger
from portal.accounts.models import User
from portal.outbox.models import Attempt, Message, State
from portal.outbox.services import owe_message
from surveys.models import Visit
from tests.alerts.conftest import Watch, approved_visit, mails, name_contact, the_incident, verdict_of
from tests.factories import SiteFactory, account_at, days_ago

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(watch: Watch) -> Visit:
    return watch.submit_low()


@pytest.fixture
def as_user(watch: Watch) -> Callable[[str | User], Client]:
    def sign_in(who: str | User) -> Client:
        client = Client()
        client.force_login(
            getattr(watch.cast, who) if isinstance(who, str) else who,
            backend="allauth.account.auth_backends.AuthenticationBackend",
        )
        return client

    return sign_in


AsUser = Callable[[str | User], Client]


def text(client: Client, name: str, *args: Any, **query: Any) -> str:
    answer = client.get(reverse(name, args=args), query)
    assert answer.status_code == 200, answer.content.decode()[:500]
    return answer.content.decode()


def queries_of(client: Client, name: str, *args: Any) -> int:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        text(client, name, *args)
    return len(seen)


GROUP_PAGES = ["incident_list", "contact_list", "contact_create", "message_list"]
SITE_PAGES = ["trigger_set", "site_contacts"]


@pytest.mark.parametrize("name", GROUP_PAGES + SITE_PAGES)
def test_it_lets_only_its_own_coordinators_and_members_in(as_user: AsUser, watch: Watch, name: str) -> None:
    args = [watch.cast.group.slug] + ([watch.site.pk] if name in SITE_PAGES else [])
    address = reverse(name, args=args)
    for_members = 200 if name == "incident_list" else 403
    expected = {"coordinator": 200, "volunteer": for_members, "neighbour_coordinator": 404, "stranger": 404}
    assert {who: as_user(who).get(address).status_code for who in expected} == expected
    assert Client().get(address).status_code == 302


def test_it_shows_an_incident_to_members_only(as_user: AsUser, visit: Visit) -> None:
    address = reverse("incident_detail", args=[the_incident().pk])
    expected = {"coordinator": 200, "volunteer": 200, "neighbour_coordinator": 404, "stranger": 404}
    assert {who: as_user(who).get(address).status_code for who in expected} == expected


@pytest.fixture
def contact_user(watch: Watch) -> User:
    return account_at(watch.first.email, name="Ines Halloran")


def test_it_shows_an_incident_to_its_contact_without_naming_volunteers(
    as_user: AsUser, contact_user: User, visit: Visit
) -> None:
    shown = text(as_user(contact_user), "incident_detail", the_incident().pk)
    assert "a volunteer of the group" in shown
    for hidden in ("Vera", "cora@example.org", "visits/"):
        assert hidden not in shown
    assert the_incident().reference in text(as_user(contact_user), "contact_incidents")


def test_it_tells_a_contact_of_two_groups_which_group_an_incident_is_of(
    as_user: AsUser, contact_user: User, visit: Visit, watch: Watch
) -> None:
    other = watch.cast.neighbour_site
    name_contact(other, 1, "Ines Halloran", watch.first.email)
    mine = the_incident()
    Incident.objects.create(group=other.group, site=other, year=mine.year, number=mine.number, contacts_told=1)
    for page in ("contact_incidents", "home"):
        shown = text(as_user(contact_user), page)
        assert shown.count(mine.reference) == 2
        for group in ("Alder Beck Watch", "Withy Brook Watch"):
            assert group in shown


def test_it_shows_a_held_incident_to_no_contact(as_user: AsUser, contact_user: User, watch: Watch) -> None:
    watch.cast.group.hold_hours = 6
    watch.cast.group.save()
    watch.submit_low()
    address = reverse("incident_detail", args=[the_incident().pk])
    assert as_user(contact_user).get(address).status_code == 404
    assert "Nobody outside the group has been told" in as_user("volunteer").get(address).content.decode()


def test_it_lets_a_contact_with_an_account_acknowledge_and_close(
    as_user: AsUser, contact_user: User, visit: Visit
) -> None:
    client, incident = as_user(contact_user), the_incident()
    client.post(reverse("incident_acknowledge", args=[incident.pk]))
    assert the_incident().acknowledged_by == "Ines Halloran"
    client.post(reverse("incident_note", args=[incident.pk]), {"note-note": "On my way.", "note-reference": ""})
    given = {"close-outcome": "source_suspected", "close-note": "Farmyard drain."}
    client.post(reverse("incident_close", args=[incident.pk]), given)
    assert the_incident().outcome == "source_suspected"
    assert [each.actor for each in the_incident().events.filter(kind="note")] == [contact_user]


@pytest.mark.parametrize(
    "name", ["incident_acknowledge", "incident_note", "incident_close", "incident_renew_links"]
)
def test_it_lets_no_volunteer_act_on_an_incident(as_user: AsUser, visit: Visit, name: str) -> None:
    address = reverse(name, args=[the_incident().pk])
    expected = {"volunteer": 403, "neighbour_coordinator": 404, "stranger": 404}
    assert {who: as_user(who).post(address).status_code for who in expected} == expected
    assert as_user("coordinator").get(address).status_code == 405
    assert the_incident().state == "open"


def test_it_shows_the_whole_course_with_evidence(as_user: AsUser, visit: Visit) -> None:
    shown = text(as_user("coordinator"), "incident_detail", the_incident().pk)
    for words in (
        "A score fell below the trigger",
        "Agency contact told",
        "Ines Halloran, Rivers Office",
        "Vera Example",
        "Heptageniidae",
        "ines@rivers.example",
        "waiting to be sent",
        "54.50000, -2.50000",
    ):
        assert words in shown
    assert shown.count("<svg") > 2


def test_it_shows_what_the_mail_server_said(as_user: AsUser, visit: Visit) -> None:
    message = mails(kind="contact.told")[0]
    Attempt.objects.create(message=message, succeeded=False, code=451, answer="greylisted for now")
    shown = text(as_user("coordinator"), "incident_detail", the_incident().pk)
    assert "greylisted for now" in shown
    assert "greylisted" not in text(as_user("volunteer"), "incident_detail", the_incident().pk)


def test_it_says_plainly_that_nobody_was_told(as_user: AsUser, watch: Watch) -> None:
    watch.site.contacts.all().delete()
    watch.submit_low()
    shown = text(as_user("coordinator"), "incident_detail", the_incident().pk)
    assert "nobody at an agency has been told" in shown


@pytest.mark.parametrize(
    ("name", "given", "words"),
    [
        ("incident_note", {"note-note": "", "note-reference": ""}, "Write a note"),
        ("incident_close", {"close-outcome": "", "close-note": "Kept text"}, "Kept text"),
    ],
)
def test_it_keeps_what_was_typed_and_says_what_is_missing(
    as_user: AsUser, visit: Visit, name: str, given: dict[str, str], words: str
) -> None:
    answer = as_user("coordinator").post(reverse(name, args=[the_incident().pk]), given)
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_it_makes_links_invalid(as_user: AsUser, visit: Visit) -> None:
    as_user("coordinator").post(reverse("incident_renew_links", args=[the_incident().pk]))
    assert the_incident().link_version == 2


def test_it_lists_incidents_going_on_apart_from_those_over(as_user: AsUser, watch: Watch, visit: Visit) -> None:
    other = SiteFactory(group=watch.cast.group, code="AB7", name="Old mill")
    Incident.objects.create(group=watch.cast.group, site=other, year=2024, number=3, state="withdrawn")
    shown = text(as_user("volunteer"), "incident_list", watch.cast.group.slug)
    live, over = shown.split("Over</h2>")
    assert the_incident_at(watch).reference in live
    assert "2024-003" in over
    assert "2024-003" not in live


def the_incident_at(watch: Watch) -> Incident:
    return Incident.objects.filter(group=watch.cast.group).get(site=watch.site)


def test_it_sets_a_trigger_on_the_page(as_user: AsUser, watch: Watch) -> None:
    address = reverse("trigger_set", args=[watch.cast.group.slug, watch.site.pk])
    given = {
        "index": "aspt",
        "level": "5.5",
        "valid_from": timezone.localdate().isoformat(),
        "reason": "Agreed.",
    }
    assert as_user("coordinator").post(address, given).status_code == 302
    trigger = Trigger.objects.filter(group=watch.cast.group, index="aspt").get()
    assert (trigger.level, trigger.set_by) == (5.5, watch.cast.coordinator)


def test_it_says_at_the_field_why_a_trigger_is_refused(as_user: AsUser, watch: Watch) -> None:
    address = reverse("trigger_set", args=[watch.cast.group.slug, watch.site.pk])
    given = {"index": "bmwp", "level": "20", "valid_from": days_ago(3).isoformat(), "reason": "Agreed in June."}
    answer = as_user("coordinator").post(address, given)
    assert answer.status_code == 422
    assert "never back-dated" in answer.content.decode()
    assert "Agreed in June." in answer.content.decode()


def test_it_adds_changes_and_orders_contacts(as_user: AsUser, watch: Watch) -> None:
    client, slug = as_user("coordinator"), watch.cast.group.slug
    given = {
        "name": "Una Marsh",
        "organisation": "Rivers Office",
        "email": "una@rivers.example",
        "is_active": "on",
    }
    client.post(reverse("contact_create", args=[slug]), given)
    una = AgencyContact.objects.of_group(watch.cast.group).get(name="Una Marsh")
    client.post(reverse("contact_edit", args=[slug, una.pk]), given | {"phone": "01632 960444"})
    una.refresh_from_db()
    assert una.phone == "01632 960444"
    client.post(
        reverse("site_contacts", args=[slug, watch.site.pk]), {str(una.pk): "1", str(watch.first.pk): "2"}
    )
    named = SiteContact.objects.of_group(watch.cast.group).filter(site=watch.site).order_by("order")
    assert [each.contact for each in named] == [una, watch.first]
    assert "Una Marsh" in text(client, "contact_list", slug)


def test_it_says_which_place_is_taken_twice(as_user: AsUser, watch: Watch) -> None:
    given = {str(watch.first.pk): "1", str(watch.second.pk): "1"}
    address = reverse("site_contacts", args=[watch.cast.group.slug, watch.site.pk])
    answer = as_user("coordinator").post(address, given)
    assert answer.status_code == 422
    assert "Place 1 is taken" in answer.content.decode()


def test_it_knows_no_contact_of_another_group(as_user: AsUser, watch: Watch) -> None:
    alien = name_contact(watch.cast.neighbour_site, 1, "Al Ien", "al@rivers.example")
    address = reverse("contact_edit", args=[watch.cast.group.slug, alien.pk])
    assert as_user("coordinator").get(address).status_code == 404


def test_it_tests_a_visit_anyway_on_the_page(as_user: AsUser, watch: Watch) -> None:
    visit = watch.submit_low(water_level="spate")
    address = reverse("visit_test_anyway", args=[watch.cast.group.slug, visit.pk])
    assert "spate" in as_user("coordinator").get(address).content.decode()
    assert as_user("volunteer").get(address).status_code == 403
    assert as_user("stranger").get(address).status_code == 404
    assert as_user("coordinator").post(address, {"reason": ""}).status_code == 422
    assert as_user("coordinator").post(address, {"reason": "Gauge normal."}).status_code == 302
    assert verdict_of(visit).outcome == "below"


def test_it_lists_messages_in_trouble_apart(as_user: AsUser, watch: Watch) -> None:
    def message(key: str, **fields: Any) -> Message:
        owed = owe_message(
            key=key, kind="x", to_address=f"{key}@example.org", subject=key, text="", group=watch.cast.group
        )
        for name, value in fields.items():
            setattr(owed, name, value)
        owed.save()
        return owed

    failed = message("failed", state=State.FAILED)
    Attempt.objects.create(message=failed, succeeded=False, code=550, answer="no such mailbox")
    message("putoff", attempts_made=1)
    message("late", not_before=timezone.now() - timedelta(minutes=6))
    message("fresh")
    message("sent", state=State.SENT, sent_at=timezone.now())
    owe_message(key="alien", kind="x", to_address="alien@example.org", subject="alien", text="")
    shown = text(as_user("coordinator"), "message_list", watch.cast.group.slug)
    trouble, delivered = shown.split('id="delivered"')
    for key in ("failed", "putoff", "late"):
        assert f"{key}@example.org" in trouble
    assert "no such mailbox" in trouble
    assert "sent@example.org" in delivered
    assert "fresh@example.org" not in shown
    assert "alien@example.org" not in shown


@pytest.mark.parametrize(
    ("name", "most"),
    [("incident_list", 12), ("contact_list", 10), ("message_list", 12), ("contact_incidents", 8)],
)
def test_it_asks_no_more_of_the_database_for_more_rows(
    as_user: AsUser, watch: Watch, visit: Visit, name: str, most: int
) -> None:
    args = [] if name == "contact_incidents" else [watch.cast.group.slug]
    client = as_user("coordinator")
    Message.objects.of_group(watch.cast.group).update(state=State.FAILED)
    few = queries_of(client, name, *args)
    for number in range(15):
        site = SiteFactory(group=watch.cast.group, code=f"X{number}")
        Incident.objects.create(group=watch.cast.group, site=site, year=2025, number=number)
        name_contact(site, 1, f"Contact {number}", f"c{number}@rivers.example")
        owe_message(
            key=f"q{number}", kind="x", to_address="a@example.org", subject="s", text="", group=site.group
        )
    Message.objects.of_group(watch.cast.group).update(state=State.FAILED)
    assert queries_of(client, name, *args) == few
    assert few <= most


@pytest.mark.parametrize(("name", "most"), [("incident_detail", 54), ("trigger_set", 20), ("alert", 52)])
def test_it_asks_no_more_of_the_database_for_a_longer_history(
    as_user: AsUser, watch: Watch, visit: Visit, name: str, most: int
) -> None:
    from alerts.contacts.links import make_token

    client = as_user("coordinator")
    pages: dict[str, tuple[str, list[Any]]] = {
        "incident_detail": ("incident_detail", [the_incident().pk]),
        "trigger_set": ("trigger_set", [watch.cast.group.slug, watch.site.pk]),
        "alert": ("alert_page", [make_token(the_incident(), watch.first)]),
    }
    page, args = pages[name]
    few = queries_of(client, page, *args)
    for number in range(20):
        approved_visit(
            watch.site, watch.cast.coordinator, watch.cast.other_volunteer, days_ago(40 + 9 * number)
        )
    watch.submit_low(visited_on=days_ago(2).isoformat())
    assert queries_of(client, page, *args) == few
    assert few <= most
