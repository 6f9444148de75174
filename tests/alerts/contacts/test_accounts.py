"""An agency contact acts by account when the account has proven the contact's address, whenever it was made."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest
from django.http import Http404

from alerts.models import Incident
from alerts.queries import incidents_for_contact
from alerts.services.contacts import save_contact
from alerts.services.incidents import acknowledge_incident
from portal.accounts.access import allowed
from portal.accounts.addresses import prove_address
from portal.accounts.models import User
from surveys.models import Visit
from tests.alerts.conftest import Watch, name_contact, raised, set_level, the_incident
from tests.factories import UserFactory, account_at, person_for
from tests.lasting import built_once

pytestmark = pytest.mark.django_db


once = built_once(raised)


@pytest.fixture
def watch(once: tuple[Watch, Visit], db: None) -> Watch:
    return deepcopy(once[0])


@pytest.fixture
def incident(watch: Watch) -> Incident:
    return the_incident()


def may_read(user: User, incident: Incident) -> tuple[bool, bool]:
    """Whether the incident opens, and whether it is listed: the two must always agree."""
    person = person_for(user)
    return allowed(person, "incident.view", incident), incident in incidents_for_contact(person)


def test_an_account_made_after_the_contact_was_named_counts(incident: Incident, watch: Watch) -> None:
    assert may_read(account_at(watch.first.email), incident) == (True, True)


def test_an_account_that_only_claims_the_address_does_not_count(incident: Incident, watch: Watch) -> None:
    claimed: User = UserFactory(email=watch.first.email)
    assert may_read(claimed, incident) == (False, False)
    with pytest.raises(Http404):
        acknowledge_incident(incident=incident, person=person_for(claimed))
    prove_address(claimed)
    assert may_read(claimed, incident) == (True, True)


def test_the_address_may_be_spelt_in_another_way(incident: Incident, watch: Watch) -> None:
    watch.first.email = "Ines@Rivers.EXAMPLE"
    watch.first.save()
    assert may_read(account_at("ines@rivers.example"), incident) == (True, True)


@pytest.mark.parametrize("change", [{"email": "other@rivers.example"}, {"is_active": False}])
def test_the_tie_ends_with_the_address_and_with_the_service(
    incident: Incident, watch: Watch, change: dict[str, Any]
) -> None:
    user = account_at(watch.first.email)
    assert may_read(user, incident) == (True, True)
    save_contact(
        person=watch.cast.person("coordinator"), group=watch.cast.group, contact=watch.first, fields=change
    )
    assert may_read(user, incident) == (False, False)


def test_the_tie_ends_when_the_site_names_the_contact_no_more(incident: Incident, watch: Watch) -> None:
    user = account_at(watch.first.email)
    watch.site.contacts.filter(contact=watch.first).delete()
    assert may_read(user, incident) == (False, False)


def test_a_closed_account_reads_nothing(incident: Incident, watch: Watch) -> None:
    user = account_at(watch.first.email)
    user.is_active = False
    user.save()
    assert may_read(user, incident) == (False, False)


def test_one_account_serves_two_groups(incident: Incident, watch: Watch) -> None:
    other = watch.cast.neighbour_site
    set_level(other, watch.cast.neighbour_coordinator)
    name_contact(other, 1, "Ines Halloran", watch.first.email)
    theirs = Incident.objects.create(
        group=other.group, site=other, year=incident.year, number=incident.number, contacts_told=1
    )
    person = person_for(account_at(watch.first.email))
    assert set(incidents_for_contact(person)) == {incident, theirs}


def test_an_account_with_no_proven_address_asks_for_no_incident(
    incident: Incident, django_assert_num_queries: Any
) -> None:
    """A contact without an address could otherwise match an account without one."""
    person = person_for(UserFactory(email="nobody@example.org"))
    with django_assert_num_queries(1):
        assert list(incidents_for_contact(person)) == []
