"""The course of an incident, from the first low visit to its end."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from alerts.models import Incident, IncidentState, Outcome
from alerts.services.incidents import acknowledge_incident, close_incident
from portal.accounts.models import Group
from surveys.models import Visit
from surveys.services.visits import approve_visit, correct_visit
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


def test_it_does_not_acknowledge_what_nobody_was_told(watch: Watch) -> None:
    Group.objects.filter(pk=watch.cast.group.pk).update(hold_hours=6)
    watch.submit_low()
    with pytest.raises(ValidationError, match="not been sent"):
        acknowledge_incident(incident=the_incident(), person=watch.cast.person("coordinator"))
