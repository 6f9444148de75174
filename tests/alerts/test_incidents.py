"""The course of an incident, from the first low visit to its end."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.utils import timezone

from alerts.models import Incident, IncidentState, Outcome
from alerts.services.incidents import acknowledge_incident, add_note, close_incident
from portal.accounts.models import Group
from portal.audit.models import AuditEntry
from surveys.models import Visit
from surveys.services.visits import approve_visit, correct_visit, return_visit
from surveys.signals import visit_judged
from surveys.submission import submission_data
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
from tests.conftest import Cast
from tests.factories import CLEAN_COUNTS, days_ago, submission_for

pytestmark = pytest.mark.django_db

INES, BO, CORA, COLE = "ines@rivers.example", "bo@rivers.example", "cora@example.org", "cole@example.org"


def correct(
    cast: Cast, visit: Visit, counts: dict[str, int], by: str = "second_coordinator", **changes: Any
) -> None:
    data = submission_data(visit) | changes | {"id": str(visit.pk), "counts": counts}
    site = data.pop("site")
    assert str(site) == str(visit.site_id)
    submission = submission_for(visit.site, **data)
    correct_visit(person=cast.person(by), visit=visit, submission=submission, reason="Counted the tray again.")


def approve(cast: Cast, visit: Visit, by: str = "coordinator") -> None:
    approve_visit(person=cast.person(by), visit=visit, accept_findings_reason="As recorded.")


def test_it_is_wired_to_the_only_signal() -> None:
    assert [each for each in visit_judged.receivers if each[0][0] == "alerts.on_visit_judged"]


def test_it_opens_an_incident_and_tells_the_first_contact_and_all_coordinators(watch: Watch) -> None:
    watch.submit_low()
    incident = the_incident()
    assert (incident.state, incident.contacts_told) == (IncidentState.OPEN, 1)
    assert course(incident) == ["opened", "told"]
    assert [each.to_address for each in mails()] == [INES, COLE, CORA]
    assert {each.about_id for each in mails()} == {incident.pk}


def test_it_gives_the_contact_the_groups_time_to_acknowledge(watch: Watch) -> None:
    watch.submit_low()
    until = the_incident().acknowledge_by
    assert until is not None
    assert 3.9 < (until - timezone.now()).total_seconds() / 3600 < 4.1


def test_it_numbers_incidents_by_group_and_year(watch: Watch) -> None:
    from tests.factories import SiteFactory

    watch.submit_low()
    Incident.objects.create(
        group=watch.cast.neighbour, site=watch.cast.neighbour_site, year=timezone.localdate().year, number=41
    )
    other = SiteFactory(group=watch.cast.group, code="AB9")
    Incident.objects.create(group=watch.cast.group, site=other, year=2020, number=77, state="withdrawn")
    close_incident(
        incident=Incident.objects.filter(group=watch.cast.group).get(site=watch.site),
        person=watch.cast.person("coordinator"),
        outcome=Outcome.NATURAL,
        note="",
    )
    watch.submit_low(visited_on=timezone.localdate().isoformat())
    numbers = [(each.year, each.number) for each in incidents() if each.site == watch.site]
    assert numbers == [(timezone.localdate().year, 1), (timezone.localdate().year, 2)]
    assert incidents()[0].reference == f"{timezone.localdate().year}-001"


def test_it_leaves_an_audit_row_of_the_opening(watch: Watch) -> None:
    watch.submit_low()
    entry = AuditEntry.objects.filter(group=watch.cast.group).get(verb="incident.opened")
    assert (entry.actor, entry.object_id) == (watch.cast.volunteer, the_incident().pk)


def test_it_writes_nothing_when_the_visit_fails_after_all(
    watch: Watch, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(**_signal: Any) -> None:
        raise ZeroDivisionError

    visit_judged.connect(fail, weak=False)
    try:
        with pytest.raises(ZeroDivisionError):
            watch.submit_low()
    finally:
        visit_judged.disconnect(fail)
    assert incidents() == []
    assert mails() == []


def test_it_joins_a_further_low_visit_to_the_live_incident(watch: Watch) -> None:
    watch.submit_low(visited_on=days_ago(3).isoformat())
    watch.submit_low()
    incident = the_incident()
    assert incident.visits.count() == 2
    assert course(incident) == ["opened", "told", "joined"]
    assert kinds_to(INES) == ["contact.told", "contact.joined"]
    assert kinds_to(BO) == []
    assert kinds_to(CORA) == ["coordinator.told", "coordinator.joined"]


def test_it_opens_a_new_incident_after_the_last_one_is_closed(watch: Watch) -> None:
    watch.submit_low(visited_on=days_ago(3).isoformat())
    close_incident(
        incident=the_incident(),
        person=watch.cast.person("coordinator"),
        outcome=Outcome.NATURAL,
        note="",
    )
    watch.submit_low()
    assert [each.state for each in incidents()] == [IncidentState.CLOSED, IncidentState.OPEN]


def test_it_confirms_when_the_visit_is_approved(watch: Watch) -> None:
    visit = watch.submit_low()
    approve(watch.cast, visit)
    incident = the_incident()
    assert incident.confirmed_at is not None
    assert course(incident)[-1] == "confirmed"
    assert kinds_to(INES) == ["contact.told", "contact.confirmed"]
    confirmed = mails(kind="contact.confirmed")[0]
    assert confirmed.subject.startswith("Confirmed:")
    assert "not yet checked" not in confirmed.subject.lower()
    assert "Checked and approved by the group" in confirmed.text


def test_it_marks_the_first_alert_as_not_yet_checked(watch: Watch) -> None:
    watch.submit_low()
    alert = mails(kind="contact.told")[0]
    assert "not yet checked by the group" in alert.subject
    assert "NOT YET CHECKED BY THE GROUP" in alert.text
    assert "Not yet checked by the group" in alert.html


def test_it_withdraws_when_a_correction_lifts_the_only_low_visit(watch: Watch) -> None:
    visit = watch.submit_low()
    correct(watch.cast, visit, CLEAN_COUNTS)
    incident = the_incident()
    assert incident.state == IncidentState.WITHDRAWN
    assert incident.acknowledge_by is None
    assert course(incident)[-1] == "withdrawn"
    assert kinds_to(INES) == ["contact.told", "contact.withdrawn"]
    assert "48" in mails(kind="contact.withdrawn")[0].text


def test_it_says_so_when_a_correction_shows_that_nothing_can_be_tested(watch: Watch) -> None:
    visit = watch.submit_low()
    correct(watch.cast, visit, LOW, water_level="spate")
    withdrawn = mails(kind="contact.withdrawn")[0]
    assert "no longer tested" in withdrawn.text
    assert "spate" in withdrawn.text


def test_it_updates_when_a_corrected_visit_is_still_low(watch: Watch) -> None:
    visit = watch.submit_low()
    correct(watch.cast, visit, LOW | {"Elmidae": 2})
    assert the_incident().state == IncidentState.OPEN
    assert kinds_to(INES) == ["contact.told", "contact.updated"]
    assert "BMWP 11" in mails(kind="contact.updated")[0].subject


def test_it_opens_when_a_correction_lowers_the_score(watch: Watch) -> None:
    visit = watch.submit_clean()
    assert incidents() == []
    correct(watch.cast, visit, LOW)
    assert the_incident().visits.get() == visit
    assert kinds_to(INES) == ["contact.told"]


def test_it_goes_on_with_the_other_low_visits_when_one_is_lifted(watch: Watch) -> None:
    first = watch.submit_low(visited_on=days_ago(3).isoformat())
    second = watch.submit_low()
    correct(watch.cast, first, CLEAN_COUNTS)
    incident = the_incident()
    assert incident.state == IncidentState.OPEN
    assert list(incident.visits.all()) == [second]
    assert kinds_to(INES)[-1] == "contact.lifted"
    assert "goes on" in mails(kind="contact.lifted")[0].text


def test_it_opens_a_new_incident_when_a_lifted_visit_falls_again(watch: Watch) -> None:
    visit = watch.submit_low()
    correct(watch.cast, visit, CLEAN_COUNTS)
    correct(watch.cast, visit, LOW)
    assert [each.state for each in incidents()] == [IncidentState.WITHDRAWN, IncidentState.OPEN]


def test_it_notes_a_return_without_writing_to_the_agency(watch: Watch) -> None:
    visit = watch.submit_low()
    return_visit(person=watch.cast.person("coordinator"), visit=visit, message="Was it a full minute?")
    assert course(the_incident())[-1] == "returned"
    assert kinds_to(INES) == ["contact.told"]


def test_it_tells_what_becomes_of_a_visit_after_the_close(watch: Watch) -> None:
    visit = watch.submit_low()
    close_incident(
        incident=the_incident(), person=watch.cast.person("coordinator"), outcome=Outcome.NATURAL, note=""
    )
    approve(watch.cast, visit)
    assert the_incident().state == IncidentState.CLOSED
    assert kinds_to(INES)[-1] == "contact.confirmed"


def test_it_tells_the_coordinators_plainly_when_no_contact_is_named(watch: Watch) -> None:
    watch.site.contacts.all().delete()
    watch.submit_low()
    assert the_incident().state == IncidentState.OPEN
    assert course(the_incident()) == ["opened", "nobody_named"]
    assert [each.to_address for each in mails()] == [COLE, CORA]
    assert "NOBODY AT AN AGENCY HAS BEEN TOLD" in mails()[0].text


def test_it_passes_over_a_contact_out_of_service(watch: Watch) -> None:
    watch.first.is_active = False
    watch.first.save()
    watch.submit_low()
    assert kinds_to(INES) == []
    assert kinds_to(BO) == ["contact.told"]


def test_it_holds_the_alert_where_the_group_wishes_to_check_first(watch: Watch) -> None:
    Group.objects.filter(pk=watch.cast.group.pk).update(hold_hours=6)
    watch.site.group.refresh_from_db()
    watch.submit_low()
    incident = the_incident()
    assert (incident.state, incident.contacts_told) == (IncidentState.HELD, 0)
    assert [each.to_address for each in mails()] == [COLE, CORA]
    assert {each.kind for each in mails()} == {"coordinator.held"}
    assert "Nobody outside the group has been told" in mails()[0].text


def test_it_sends_a_held_alert_as_checked_when_the_visit_is_approved(watch: Watch) -> None:
    Group.objects.filter(pk=watch.cast.group.pk).update(hold_hours=6)
    visit = watch.submit_low()
    approve(watch.cast, visit)
    assert the_incident().state == IncidentState.OPEN
    assert kinds_to(INES) == ["contact.told"]
    assert "Checked and approved by the group" in mails(kind="contact.told")[0].text


def test_it_never_tells_the_agency_of_a_held_alert_that_was_a_mistake(watch: Watch) -> None:
    Group.objects.filter(pk=watch.cast.group.pk).update(hold_hours=6)
    visit = watch.submit_low()
    correct(watch.cast, visit, CLEAN_COUNTS)
    assert the_incident().state == IncidentState.WITHDRAWN
    assert kinds_to(INES) == []
    assert kinds_to(CORA) == ["coordinator.held", "coordinator.withdrawn"]


def test_it_keeps_the_verdict_of_a_visit_when_the_trigger_changes_later(watch: Watch) -> None:
    visit = watch.submit_low()
    watch.trigger.level = 1
    watch.trigger.valid_from = timezone.localdate()
    assert verdict_of(visit).trigger == watch.trigger


def test_it_acknowledges_for_a_coordinator_once(watch: Watch) -> None:
    watch.submit_low()
    person = watch.cast.person("coordinator")
    first = acknowledge_incident(incident=the_incident(), person=person)
    again = acknowledge_incident(incident=the_incident(), person=watch.cast.person("second_coordinator"))
    assert again.acknowledged_at == first.acknowledged_at
    assert again.acknowledged_by == "Cora Example"
    assert course(the_incident()).count("acknowledged") == 1
    assert the_incident().acknowledge_by is None


def test_it_does_not_acknowledge_what_nobody_was_told(watch: Watch) -> None:
    Group.objects.filter(pk=watch.cast.group.pk).update(hold_hours=6)
    watch.submit_low()
    with pytest.raises(ValidationError, match="not been sent"):
        acknowledge_incident(incident=the_incident(), person=watch.cast.person("coordinator"))


def test_it_lets_no_volunteer_and_no_stranger_act(watch: Watch) -> None:
    watch.submit_low()
    for service in (acknowledge_incident, lambda **who: add_note(note="x", **who)):
        with pytest.raises(PermissionDenied):
            service(incident=the_incident(), person=watch.cast.person("volunteer"))
        with pytest.raises(Http404):
            service(incident=the_incident(), person=watch.cast.person("neighbour_coordinator"))


def test_it_adds_notes_and_the_agencys_reference(watch: Watch) -> None:
    watch.submit_low()
    person = watch.cast.person("coordinator")
    add_note(incident=the_incident(), person=person, note="Officer on site.", reference="R-17")
    add_note(incident=the_incident(), person=person, note="", reference="R-18")
    assert the_incident().agency_reference == "R-18"
    notes = [each.note for each in the_incident().events.filter(kind="note").order_by("at")]
    assert notes == ["Officer on site.", "The agency's reference: R-18"]
    with pytest.raises(ValidationError):
        add_note(incident=the_incident(), person=person, note=" ", reference="R-18")


def test_it_closes_with_an_outcome_and_tells_everybody(watch: Watch) -> None:
    watch.submit_low()
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
    watch.submit_low()
    with pytest.raises(ValidationError):
        close_incident(
            incident=the_incident(), person=watch.cast.person("coordinator"), outcome=outcome, note="x"
        )
    assert the_incident().is_live


def test_it_does_not_close_twice(watch: Watch) -> None:
    watch.submit_low()
    person = watch.cast.person("coordinator")
    close_incident(incident=the_incident(), person=person, outcome=Outcome.NATURAL, note="")
    with pytest.raises(ValidationError, match="over already"):
        close_incident(incident=the_incident(), person=person, outcome=Outcome.METHOD_ERROR, note="")
    assert the_incident().outcome == Outcome.NATURAL
