"""What becomes of the incident that one low visit opens."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.utils import timezone

from alerts.models import IncidentState, Outcome
from alerts.services.incidents import acknowledge_incident, add_note, close_incident
from portal.audit.models import AuditEntry
from surveys.models import Visit
from surveys.services.visits import return_visit
from tests.alerts.conftest import (
    LOW,
    Watch,
    course,
    incidents,
    kinds_to,
    mails,
    the_incident,
    verdict_of,
)
from tests.alerts.test_incidents import COLE, CORA, INES, approve, correct
from tests.factories import CLEAN_COUNTS

pytestmark = pytest.mark.django_db


def test_it_opens_an_incident_and_tells_the_first_contact_and_all_coordinators(visit: Visit) -> None:
    incident = the_incident()
    assert (incident.state, incident.contacts_told) == (IncidentState.OPEN, 1)
    assert course(incident) == ["opened", "told"]
    assert [each.to_address for each in mails()] == [INES, COLE, CORA]
    assert {each.about_id for each in mails()} == {incident.pk}


def test_it_gives_the_contact_the_groups_time_to_acknowledge(visit: Visit) -> None:
    until = the_incident().acknowledge_by
    assert until is not None
    assert 3.9 < (until - timezone.now()).total_seconds() / 3600 < 4.1


def test_it_leaves_an_audit_row_of_the_opening(watch: Watch) -> None:
    entry = AuditEntry.objects.filter(group=watch.cast.group).get(verb="incident.opened")
    assert (entry.actor, entry.object_id) == (watch.cast.volunteer, the_incident().pk)


def test_it_confirms_when_the_visit_is_approved(watch: Watch, visit: Visit) -> None:
    approve(watch.cast, visit)
    incident = the_incident()
    assert incident.confirmed_at is not None
    assert course(incident)[-1] == "confirmed"
    assert kinds_to(INES) == ["contact.told", "contact.confirmed"]
    confirmed = mails(kind="contact.confirmed")[0]
    assert confirmed.subject.startswith("Confirmed:")
    assert "not yet checked" not in confirmed.subject.lower()
    assert "Checked and approved by the group" in confirmed.text


def test_it_marks_the_first_alert_as_not_yet_checked(visit: Visit) -> None:
    alert = mails(kind="contact.told")[0]
    assert "not yet checked by the group" in alert.subject
    assert "NOT YET CHECKED BY THE GROUP" in alert.text
    assert "Not yet checked by the group" in alert.html


def test_it_withdraws_when_a_correction_lifts_the_only_low_visit(watch: Watch, visit: Visit) -> None:
    correct(watch.cast, visit, CLEAN_COUNTS)
    incident = the_incident()
    assert incident.state == IncidentState.WITHDRAWN
    assert incident.acknowledge_by is None
    assert course(incident)[-1] == "withdrawn"
    assert kinds_to(INES) == ["contact.told", "contact.withdrawn"]
    assert "48" in mails(kind="contact.withdrawn")[0].text


def test_it_says_so_when_a_correction_shows_that_nothing_can_be_tested(watch: Watch, visit: Visit) -> None:
    correct(watch.cast, visit, LOW, water_level="spate")
    withdrawn = mails(kind="contact.withdrawn")[0]
    assert "no longer tested" in withdrawn.text
    assert "spate" in withdrawn.text


def test_it_updates_when_a_corrected_visit_is_still_low(watch: Watch, visit: Visit) -> None:
    correct(watch.cast, visit, LOW | {"Elmidae": 2})
    assert the_incident().state == IncidentState.OPEN
    assert kinds_to(INES) == ["contact.told", "contact.updated"]
    assert "BMWP 11" in mails(kind="contact.updated")[0].subject


def test_it_opens_a_new_incident_when_a_lifted_visit_falls_again(watch: Watch, visit: Visit) -> None:
    correct(watch.cast, visit, CLEAN_COUNTS)
    correct(watch.cast, visit, LOW)
    assert [each.state for each in incidents()] == [IncidentState.WITHDRAWN, IncidentState.OPEN]


def test_it_notes_a_return_without_writing_to_the_agency(watch: Watch, visit: Visit) -> None:
    return_visit(person=watch.cast.person("coordinator"), visit=visit, message="Was it a full minute?")
    assert course(the_incident())[-1] == "returned"
    assert kinds_to(INES) == ["contact.told"]


def test_it_tells_what_becomes_of_a_visit_after_the_close(watch: Watch, visit: Visit) -> None:
    close_incident(
        incident=the_incident(), person=watch.cast.person("coordinator"), outcome=Outcome.NATURAL, note=""
    )
    approve(watch.cast, visit)
    assert the_incident().state == IncidentState.CLOSED
    assert kinds_to(INES)[-1] == "contact.confirmed"


def test_it_keeps_the_verdict_of_a_visit_when_the_trigger_changes_later(watch: Watch, visit: Visit) -> None:
    watch.trigger.level = 1
    watch.trigger.valid_from = timezone.localdate()
    assert verdict_of(visit).trigger == watch.trigger


def test_it_acknowledges_for_a_coordinator_once(watch: Watch) -> None:
    person = watch.cast.person("coordinator")
    first = acknowledge_incident(incident=the_incident(), person=person)
    again = acknowledge_incident(incident=the_incident(), person=watch.cast.person("second_coordinator"))
    assert again.acknowledged_at == first.acknowledged_at
    assert again.acknowledged_by == "Cora Example"
    assert course(the_incident()).count("acknowledged") == 1
    assert the_incident().acknowledge_by is None


def test_it_lets_no_volunteer_and_no_stranger_act(watch: Watch) -> None:
    for service in (acknowledge_incident, lambda **who: add_note(note="x", **who)):
        with pytest.raises(PermissionDenied):
            service(incident=the_incident(), person=watch.cast.person("volunteer"))
        with pytest.raises(Http404):
            service(incident=the_incident(), person=watch.cast.person("neighbour_coordinator"))


def test_it_adds_notes_and_the_agencys_reference(watch: Watch) -> None:
    person = watch.cast.person("coordinator")
    add_note(incident=the_incident(), person=person, note="Officer on site.", reference="R-17")
    add_note(incident=the_incident(), person=person, note="", reference="R-18")
    assert the_incident().agency_reference == "R-18"
    notes = [each.note for each in the_incident().events.filter(kind="note").order_by("at")]
    assert notes == ["Officer on site.", "The agency's reference: R-18"]
    with pytest.raises(ValidationError):
        add_note(incident=the_incident(), person=person, note=" ", reference="R-18")


def test_it_closes_with_an_outcome_and_tells_everybody(watch: Watch) -> None:
    person = watch.cast.person("coordinator")
    close_incident(
        incident=the_incident(),
        person=person,
        outcome=Outcome.SOURCE_STOPPED,
        note="Broken pipe mended.",
        reference="R-9",
    )
    incident = the_incident()
    assert (incident.state, incident.outcome, incident.agency_reference) == ("closed", "source_stopped", "R-9")
    assert incident.closed_at is not None
    assert kinds_to(INES)[-1] == "contact.closed"
    assert "Broken pipe mended." in mails(kind="contact.closed")[0].text


@pytest.mark.parametrize("outcome", ["", "anything"])
def test_it_does_not_close_without_an_outcome(watch: Watch, outcome: str) -> None:
    with pytest.raises(ValidationError):
        close_incident(
            incident=the_incident(), person=watch.cast.person("coordinator"), outcome=outcome, note="x"
        )
    assert the_incident().is_live


def test_it_does_not_close_twice(watch: Watch) -> None:
    person = watch.cast.person("coordinator")
    close_incident(incident=the_incident(), person=person, outcome=Outcome.NATURAL, note="")
    with pytest.raises(ValidationError, match="over already"):
        close_incident(incident=the_incident(), person=person, outcome=Outcome.METHOD_ERROR, note="")
    assert the_incident().outcome == Outcome.NATURAL
