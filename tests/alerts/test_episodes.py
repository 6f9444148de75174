"""Falls of several visits: one incident for one fall, whatever becomes of its visits one by one."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone

from alerts.models import IncidentState, Outcome
from alerts.services.incidents import acknowledge_incident, close_incident
from alerts.services.verdicts import test_visit_anyway as run_anyway
from alerts.tasks import watch_incidents
from surveys.models import Visit
from tests.alerts.conftest import LOW, Watch, course, incidents, kinds_to, mails, the_incident, verdict_of
from tests.alerts.test_incidents import approve, correct
from tests.alerts.test_side_by_side import at_once
from tests.factories import CLEAN_COUNTS, days_ago

pytestmark = pytest.mark.django_db
INES, CORA = "ines@rivers.example", "cora@example.org"


@pytest.fixture
def fall(watch: Watch) -> list[Visit]:
    """Three low visits at one site within a week, oldest first, none of them checked yet."""
    return [watch.submit_low(visited_on=days_ago(day).isoformat()) for day in (6, 3, 1)]


def again(visit: Visit) -> Visit:
    return Visit.objects.of_group(visit.group).get(pk=visit.pk)


def test_three_low_visits_are_one_incident(watch: Watch, fall: list[Visit]) -> None:
    assert set(the_incident().visits.all()) == set(fall)
    assert course(the_incident()) == ["opened", "told", "joined", "joined"]
    assert kinds_to(INES) == ["contact.told", "contact.joined", "contact.joined"]


def test_the_evidence_is_the_latest_visits(watch: Watch, fall: list[Visit]) -> None:
    """Typed in last week's order or not: the reader sees the newest state of the river."""
    watch.submit_low(visited_on=days_ago(9).isoformat())
    joined = mails(kind="contact.joined")
    assert len(joined) == 3
    limit = the_incident().acknowledge_by
    assert limit is not None
    with time_machine.travel(limit, tick=False):
        watch_incidents()
    told = mails(to_address="bo@rivers.example")[0]
    day = fall[-1].visited_on
    assert f"{day:%A} {day.day} {day:%B %Y}" in told.text


def test_lifting_them_one_by_one_withdraws_with_the_last(watch: Watch, fall: list[Visit]) -> None:
    for number, visit in enumerate(fall):
        assert the_incident().state == IncidentState.OPEN
        correct(watch.cast, visit, CLEAN_COUNTS)
        left = the_incident().visits.count()
        assert left == max(1, len(fall) - number - 1), "the last stays with what was withdrawn"
    assert the_incident().state == IncidentState.WITHDRAWN
    assert kinds_to(INES)[-3:] == ["contact.lifted", "contact.lifted", "contact.withdrawn"]
    told = [each for each in mails(to_address=INES) if each.kind in ("contact.lifted", "contact.withdrawn")]
    words = [each.text for each in told]
    assert ["goes on" in text for text in words] == [True, True, False]
    assert "Nothing more is asked of you" in words[-1]


def test_confirming_one_leaves_the_others_unchecked(watch: Watch, fall: list[Visit]) -> None:
    approve(watch.cast, fall[0])
    first = the_incident().confirmed_at
    assert first is not None
    assert [again(each).status for each in fall] == ["approved", "waiting", "waiting"]
    approve(watch.cast, fall[2])
    assert kinds_to(INES).count("contact.confirmed") == 2
    assert the_incident().confirmed_at is not None
    assert course(the_incident()).count("confirmed") == 2


def test_an_approved_low_visit_is_no_part_of_what_is_normal(watch: Watch, fall: list[Visit]) -> None:
    """Else a lasting fall would teach the portal that pollution is normal here."""
    for visit in fall:
        approve(watch.cast, visit)
    told = mails(kind="contact.confirmed")[-1]
    assert "median 48, lowest 48 of 8 approved visits" in told.text


def test_a_good_visit_between_changes_nothing_by_itself(watch: Watch, fall: list[Visit]) -> None:
    watch.submit_clean(by="other_volunteer", visited_on=days_ago(2).isoformat())
    assert the_incident().state == IncidentState.OPEN
    assert the_incident().visits.count() == 3


def test_a_fall_after_the_close_is_a_new_incident_with_the_next_number(watch: Watch, fall: list[Visit]) -> None:
    person = watch.cast.person("coordinator")
    close_incident(incident=the_incident(), person=person, outcome=Outcome.SOURCE_STOPPED, note="Mended.")
    watch.submit_low(by="other_volunteer", visited_on=timezone.localdate().isoformat())
    old, new = incidents()
    assert (old.state, new.state) == (IncidentState.CLOSED, IncidentState.OPEN)
    assert new.number == old.number + 1
    assert new.visits.count() == 1
    assert kinds_to(INES)[-1] == "contact.told"


def test_a_corrected_visit_of_a_closed_incident_is_told_and_opens_nothing(
    watch: Watch, fall: list[Visit]
) -> None:
    person = watch.cast.person("coordinator")
    close_incident(incident=the_incident(), person=person, outcome=Outcome.NATURAL, note="")
    correct(watch.cast, fall[1], LOW | {"Elmidae": 1})
    correct(watch.cast, again(fall[2]), CLEAN_COUNTS)
    assert the_incident().state == IncidentState.CLOSED
    assert kinds_to(INES)[-2:] == ["contact.updated", "contact.lifted"]
    assert set(the_incident().visits.all()) == set(fall[:2])


def test_testing_anyway_joins_the_fall_that_goes_on(watch: Watch, fall: list[Visit]) -> None:
    spate = watch.submit_low(
        by="other_volunteer", water_level="spate", visited_on=timezone.localdate().isoformat()
    )
    assert verdict_of(spate).outcome == "not_tested"
    assert the_incident().visits.count() == 3
    run_anyway(person=watch.cast.person("coordinator"), visit=spate, reason="The gauge was normal.")
    assert the_incident().visits.count() == 4
    assert "The gauge was normal." in mails(kind="contact.joined")[-1].text


def test_the_coordinators_hear_of_every_step_that_the_agency_hears_of(watch: Watch, fall: list[Visit]) -> None:
    approve(watch.cast, fall[0])
    correct(watch.cast, fall[1], CLEAN_COUNTS)
    person = watch.cast.person("coordinator")
    close_incident(incident=the_incident(), person=person, outcome=Outcome.NOT_CONFIRMED, note="")
    steps = [each.removeprefix("contact.") for each in kinds_to(INES)]
    assert [each.removeprefix("coordinator.") for each in kinds_to(CORA)] == steps
    assert steps == ["told", "joined", "joined", "confirmed", "lifted", "closed"]


@pytest.mark.django_db(transaction=True)
def test_an_answer_and_the_clock_at_the_same_moment_agree(watch: Watch) -> None:
    """Either the contact was in time or the next one is told; never is an answered alert left waiting."""
    watch.submit_low()
    incident = the_incident()
    assert incident.acknowledge_by is not None
    gate = threading.Barrier(3, timeout=20)

    def answer() -> None:
        gate.wait()
        acknowledge_incident(incident=incident, contact=watch.first)

    def look() -> None:
        gate.wait()
        watch_incidents()

    with time_machine.travel(incident.acknowledge_by + timedelta(seconds=1), tick=True):
        assert at_once(answer, look, look) == []
    after = the_incident()
    assert (after.state, after.acknowledge_by) == (IncidentState.ACKNOWLEDGED, None)
    assert course(after).count("acknowledged") == 1
    told = kinds_to("bo@rivers.example").count("contact.told")
    assert told == course(after).count("unanswered")
    assert told <= 1


@pytest.mark.django_db(transaction=True)
def test_four_clocks_at_once_tell_one_contact_once(watch: Watch) -> None:
    watch.submit_low()
    limit = the_incident().acknowledge_by
    assert limit is not None
    gate = threading.Barrier(4, timeout=20)

    def look() -> None:
        gate.wait()
        watch_incidents()

    with time_machine.travel(limit + timedelta(seconds=1), tick=True):
        assert at_once(*[look] * 4) == []
    assert course(the_incident()) == ["opened", "told", "unanswered", "told"]
    assert kinds_to("bo@rivers.example") == ["contact.told"]
