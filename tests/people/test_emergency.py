"""Whom to ring: seen only while a safe return runs, each look written down and told."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.test import Client
from django.urls import reverse

from portal.accounts.models import User
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from surveys.errors import NotPossible
from surveys.models import SafeReturn
from surveys.people.models import EmergencyContact
from surveys.people.queries import LOOKED, record_of
from surveys.people.services import records
from surveys.people.services.emergency import look_at_contacts, looks_at
from surveys.services.safe_returns import end_safe_return
from tests.conftest import Cast
from tests.factories import days_ago, person_for
from tests.people.making import membership_of, under_18
from tests.surveys.outings.returning import begin_return

pytestmark = pytest.mark.django_db
PHONE = "01632 960333"


@pytest.fixture
def out(cast: Cast) -> SafeReturn:
    """Vera and Owen are out, and both have named whom to ring."""
    for user in (cast.volunteer, cast.other_volunteer):
        name_somebody(cast, user)
    return begin_return(cast)


def name_somebody(cast: Cast, user: User, **changes: str) -> EmergencyContact:
    said = {"name": f"Gwen of {user.name}", "phone": PHONE, **changes}
    membership = membership_of(user, cast.group)
    return records.set_emergency_contact(person=person_for(user), membership=membership, **said)


def look(cast: Cast, user: User, out: SafeReturn) -> Any:
    client = Client()
    client.force_login(user)
    return client.post(reverse("emergency_look", args=[cast.group.slug, out.pk]), follow=True)


def looks() -> list[AuditEntry]:
    return list(AuditEntry.objects.across_groups("tests").filter(verb=LOOKED))


def told() -> list[str]:
    found = Message.objects.across_groups("tests").filter(kind="emergency.look")
    return [each.to_address for each in found.order_by("to_address")]


def test_a_coordinator_sees_both_and_both_are_told(cast: Cast, out: SafeReturn) -> None:
    page = look(cast, cast.coordinator, out).content.decode()
    assert page.count(PHONE) >= 2
    assert "Gwen of Vera Example" in page
    assert told() == ["owen@example.org", "vera@example.org"]
    assert {(each.actor_name, each.changes["safe_return"][1]) for each in looks()} == {
        ("Cora Example", str(out.pk))
    }


def test_each_look_is_one_more(cast: Cast, out: SafeReturn) -> None:
    for _each in range(2):
        look_at_contacts(person=cast.person("coordinator"), safe_return=out)
    assert len(looks()) == 4
    assert told() == ["owen@example.org"] * 2 + ["vera@example.org"] * 2


def test_of_one_s_own_contact_nobody_is_told(cast: Cast, out: SafeReturn) -> None:
    look_at_contacts(person=cast.person("volunteer"), safe_return=out)
    assert told() == ["owen@example.org"]
    own, other = (membership_of(each, cast.group) for each in (cast.volunteer, cast.other_volunteer))
    assert [each.actor_name for each in looks_at(other)] == ["Vera Example"]
    assert list(looks_at(own)) == []


def test_where_nobody_is_named_there_is_nothing_to_tell(cast: Cast) -> None:
    out = begin_return(cast)
    found = look_at_contacts(person=cast.person("coordinator"), safe_return=out)
    assert [each.contact for each in found] == [None, None]
    assert looks() == []


def test_of_a_minor_the_guardian_is_shown_until_they_are_18(cast: Cast) -> None:
    minor = under_18(cast.volunteer, cast.group)
    out = begin_return(cast)
    found = look_at_contacts(person=cast.person("coordinator"), safe_return=out)
    assert [each.guardian for each in found] == [None, minor]
    assert told() == ["vera@example.org"]
    minor.until = days_ago(0)
    minor.save()
    again = look_at_contacts(person=cast.person("coordinator"), safe_return=out)
    assert [each.guardian for each in again] == [None, None]


def test_after_the_end_nothing_is_shown_and_nobody_told(cast: Cast, out: SafeReturn) -> None:
    end_safe_return(safe_return=out, person=cast.person("volunteer"))
    with pytest.raises(NotPossible, match="has ended"):
        look_at_contacts(person=cast.person("coordinator"), safe_return=out)
    page = look(cast, cast.coordinator, out).content.decode()
    assert PHONE not in page
    assert "has ended" in page
    assert (looks(), told()) == ([], [])


def test_others_are_turned_away(cast: Cast) -> None:
    out = begin_return(cast, partner=None, partner_name="Sam Example")
    with pytest.raises(PermissionDenied):
        look_at_contacts(person=cast.person("other_volunteer"), safe_return=out)
    with pytest.raises(Http404):
        look_at_contacts(person=cast.person("neighbour_coordinator"), safe_return=out)
    assert look(cast, cast.other_volunteer, out).status_code == 403


def test_only_those_who_went_are_shown(cast: Cast, out: SafeReturn) -> None:
    name_somebody(cast, cast.second_coordinator)
    found = look_at_contacts(person=cast.person("coordinator"), safe_return=out)
    assert [each.membership.user for each in found] == [cast.other_volunteer, cast.volunteer]


def test_it_stands_on_no_other_page(cast: Cast, out: SafeReturn) -> None:
    client = Client()
    client.force_login(cast.coordinator)
    own = membership_of(cast.volunteer, cast.group)
    pages = [
        reverse("person_detail", args=[cast.group.slug, own.pk]),
        reverse("safe_return_detail", args=[cast.group.slug, out.pk]),
        reverse("people_list", args=[cast.group.slug]),
    ]
    assert not [each for each in pages if PHONE in client.get(each).content.decode()]
    # Who looked is told to the person alone.
    look_at_contacts(person=cast.person("coordinator"), safe_return=out)
    assert LOOKED not in {each.verb for each in record_of(own, days_ago(0)).history}
    client.force_login(cast.volunteer)
    mine = client.get(reverse("own_record", args=[cast.group.slug])).content.decode()
    assert PHONE in mine
    assert "Cora Example" in mine


def test_only_oneself_names_or_erases_them(cast: Cast) -> None:
    name_somebody(cast, cast.volunteer)
    own = membership_of(cast.volunteer, cast.group)
    for who in ("coordinator", "other_volunteer"):
        with pytest.raises(ValueError, match="themselves alone"):
            records.set_emergency_contact(person=cast.person(who), membership=own, name="X", phone="1")
        with pytest.raises(ValueError, match="themselves alone"):
            records.erase_emergency_contact(person=cast.person(who), membership=own)
    name_somebody(cast, cast.volunteer, phone="01632 960444")
    assert EmergencyContact.objects.of_group(cast.group).get().phone == "01632 960444"
    records.erase_emergency_contact(person=cast.person("volunteer"), membership=own)
    assert not EmergencyContact.objects.of_group(cast.group).exists()


def test_the_trail_says_that_it_changed_and_not_to_whom(cast: Cast) -> None:
    name_somebody(cast, cast.volunteer)
    [entry] = AuditEntry.objects.of_group(cast.group).filter(verb="membership.emergency_contact")
    assert (entry.changes, entry.reason) == ({}, "")


@pytest.mark.parametrize("field", ["name", "phone"])
def test_half_a_contact_is_refused_at_its_field(cast: Cast, field: str) -> None:
    with pytest.raises(NotPossible) as refused:
        name_somebody(cast, cast.volunteer, **{field: " "})
    assert refused.value.field == field


@pytest.mark.parametrize("number", ["abc", "ask Gwen", "01"])
def test_a_number_that_nobody_could_ring_is_not_kept(cast: Cast, number: str) -> None:
    client = Client()
    client.force_login(cast.volunteer)
    page = client.post(reverse("emergency_edit", args=[cast.group.slug]), {"name": "Gwen", "phone": number})
    assert page.status_code == 422
    assert "Write the number in figures" in page.content.decode()
    assert number in page.content.decode()
    assert not EmergencyContact.objects.across_groups("tests").exists()
