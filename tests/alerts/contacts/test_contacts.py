"""Naming agency contacts and their order."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.utils import timezone

from alerts.models import AgencyContact
from alerts.queries import incidents_for_contact, site_contacts_of
from alerts.services.contacts import name_site_contacts, save_contact
from alerts.services.incidents import acknowledge_incident
from portal.audit.models import AuditEntry
from tests.alerts.conftest import Watch, course, kinds_to, name_contact, the_incident
from tests.alerts.test_state_table import by_clock
from tests.factories import account_at, person_for

pytestmark = pytest.mark.django_db

FIELDS = {"name": "Una Marsh", "organisation": "Rivers Office", "email": "una@rivers.example"}


def save(
    watch: Watch, contact: AgencyContact | None = None, by: str = "coordinator", **changes: Any
) -> AgencyContact:
    person = watch.cast.person(by)
    return save_contact(person=person, group=watch.cast.group, contact=contact, fields=FIELDS | changes)


def named(watch: Watch) -> list[str]:
    return [each.contact.name for each in site_contacts_of(watch.site)]


def test_it_adds_a_contact_with_an_audit_row(watch: Watch) -> None:
    contact = save(watch)
    entry = AuditEntry.objects.filter(group=watch.cast.group).get(object_id=contact.pk)
    assert (entry.verb, entry.changes["email"]) == ("contact.created", [None, "una@rivers.example"])


def test_it_notes_only_what_changed(watch: Watch) -> None:
    save(watch, save(watch), phone="01632 960555")
    entry = AuditEntry.objects.filter(group=watch.cast.group).get(verb="contact.changed")
    assert entry.changes == {"phone": ["", "01632 960555"]}


@pytest.mark.parametrize(
    ("by", "answer"), [("volunteer", PermissionDenied), ("neighbour_coordinator", Http404)]
)
def test_it_is_for_coordinators_only(watch: Watch, by: str, answer: type[Exception]) -> None:
    with pytest.raises(answer):
        save(watch, by=by)
    with pytest.raises(answer):
        name_site_contacts(person=watch.cast.person(by), site=watch.site, contacts=[])


def test_it_names_contacts_in_order(watch: Watch) -> None:
    assert named(watch) == ["Ines Halloran", "Bo Lindqvist"]
    name_site_contacts(
        person=watch.cast.person("coordinator"), site=watch.site, contacts=[watch.second, watch.first]
    )
    assert named(watch) == ["Bo Lindqvist", "Ines Halloran"]
    entry = AuditEntry.objects.filter(group=watch.cast.group).get(verb="site.contacts_named")
    assert entry.changes == {"contacts": [["Ines Halloran", "Bo Lindqvist"], ["Bo Lindqvist", "Ines Halloran"]]}


def test_it_takes_no_contact_of_another_group(watch: Watch) -> None:
    alien = name_contact(watch.cast.neighbour_site, 1, "Al Ien", "al@rivers.example")
    with pytest.raises(ValidationError):
        name_site_contacts(person=watch.cast.person("coordinator"), site=watch.site, contacts=[alien])
    assert named(watch) == ["Ines Halloran", "Bo Lindqvist"]


def test_it_takes_no_contact_twice(watch: Watch) -> None:
    with pytest.raises(ValidationError):
        name_site_contacts(
            person=watch.cast.person("coordinator"), site=watch.site, contacts=[watch.first, watch.first]
        )


def test_it_tells_a_new_contact_what_nobody_could_be_told(watch: Watch) -> None:
    watch.site.contacts.all().delete()
    watch.submit_low()
    assert kinds_to(watch.second.email) == []
    name_site_contacts(person=watch.cast.person("coordinator"), site=watch.site, contacts=[watch.second])
    assert kinds_to(watch.second.email) == ["contact.told"]
    assert course(the_incident()) == ["opened", "nobody_named", "told"]


def test_it_tells_a_new_contact_when_none_of_the_others_has_answered(watch: Watch) -> None:
    """The coordinators were asked to telephone; whoever they name then gets the alert at once."""
    watch.second.delete()
    by_clock(watch, watch.submit_low())
    assert course(the_incident())[-1] == "coordinators_told"
    person = watch.cast.person("coordinator")
    new = name_contact(watch.site, 2, "Ada Quill", "ada@rivers.example")
    with time_machine.travel(timezone.now() + timedelta(days=3)):
        name_site_contacts(person=person, site=watch.site, contacts=[watch.first, new])
        assert kinds_to(new.email) == ["contact.told"]
        assert kinds_to(watch.first.email).count("contact.told") == 1
        assert the_incident().acknowledge_by is not None, "the time to answer runs again"
        acknowledge_incident(incident=the_incident(), contact=new)
        name_site_contacts(person=person, site=watch.site, contacts=[watch.first])
        assert course(the_incident())[-2:] == ["told", "acknowledged"]


def test_it_tells_nobody_again_when_the_order_changes(watch: Watch) -> None:
    watch.submit_low()
    name_site_contacts(
        person=watch.cast.person("coordinator"), site=watch.site, contacts=[watch.second, watch.first]
    )
    assert kinds_to(watch.second.email) == []


def test_it_shows_a_contact_with_an_account_their_own_incidents(watch: Watch) -> None:
    user = account_at(watch.first.email)
    watch.submit_low()
    assert list(incidents_for_contact(person_for(user))) == [the_incident()]
    assert list(incidents_for_contact(watch.cast.person("stranger"))) == []
    watch.first.is_active = False
    watch.first.save()
    assert list(incidents_for_contact(person_for(user))) == []


def test_it_shows_a_contact_nothing_that_is_still_held(watch: Watch) -> None:
    user = account_at(watch.first.email)
    watch.cast.group.hold_hours = 6
    watch.cast.group.save()
    watch.submit_low()
    assert list(incidents_for_contact(person_for(user))) == []
