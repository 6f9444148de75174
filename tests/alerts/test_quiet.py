"""Quiet for maintenance: who hears of what, and what happens when it ends."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.utils import timezone

from alerts.models import IncidentState, Outcome, QuietPeriod
from alerts.queries import quiet_now
from alerts.services.incidents import close_incident
from alerts.services.quiet import LONGEST, begin_quiet, end_quiet
from alerts.tasks import watch_incidents
from portal.accounts.models import Group
from portal.audit.services import history_of
from tests.alerts.conftest import Watch, course, kinds_to, mails, the_incident
from tests.alerts.test_incidents import approve, correct
from tests.factories import CLEAN_COUNTS, days_ago

pytestmark = pytest.mark.django_db
INES, CORA = "ines@rivers.example", "cora@example.org"
REASON = "The weir is being rebuilt until then."


def at_rest(watch: Watch, hours: float = 48, **changes: object) -> QuietPeriod:
    given = {"ends_at": timezone.now() + timedelta(hours=hours), "reason": REASON} | changes
    return begin_quiet(person=watch.cast.person("coordinator"), site=watch.site, **given)  # type: ignore[arg-type]


def after(hours: float) -> time_machine.travel:
    return time_machine.travel(timezone.now() + timedelta(hours=hours), tick=True)


def test_no_agency_is_told_while_it_is_quiet_but_coordinators_are(watch: Watch) -> None:
    quiet = at_rest(watch)
    watch.submit_low()
    incident = the_incident()
    assert (incident.state, incident.send_by) == (IncidentState.HELD, quiet.ends_at)
    assert course(incident) == ["opened", "quiet"]
    assert kinds_to(INES) == []
    assert kinds_to(CORA) == ["coordinator.quiet"]
    told = mails(kind="coordinator.quiet")[0]
    assert told.subject.startswith("Not sent, the site is quiet: Stepping stones")


def test_what_was_held_leaves_when_it_ends(watch: Watch) -> None:
    at_rest(watch)
    watch.submit_low()
    with after(47.9):
        watch_incidents()
        assert kinds_to(INES) == []
    with after(48.1):
        watch_incidents()
    assert kinds_to(INES) == ["contact.told"]
    assert the_incident().state == IncidentState.OPEN


def test_a_check_does_not_send_what_quiet_holds(watch: Watch) -> None:
    quiet = at_rest(watch)
    approve(watch.cast, watch.submit_low())
    incident = the_incident()
    assert incident.confirmed_at is not None
    assert (incident.state, incident.send_by) == (IncidentState.HELD, quiet.ends_at)
    assert kinds_to(INES) == []


@pytest.mark.parametrize(("hold", "quiet", "longer"), [(6, 48, "quiet"), (72, 48, "hold")])
def test_the_longer_of_quiet_and_check_counts(watch: Watch, hold: int, quiet: int, longer: str) -> None:
    Group.objects.filter(pk=watch.cast.group.pk).update(hold_hours=hold)
    watch.site.group.refresh_from_db()
    at_rest(watch, hours=quiet)
    watch.submit_low()
    until = the_incident().send_by
    assert until is not None
    wait = (until - timezone.now()).total_seconds() / 3600
    assert wait == pytest.approx({"quiet": quiet, "hold": hold}[longer], abs=0.1)


def test_a_check_lets_go_what_only_the_check_held(watch: Watch) -> None:
    """Quiet is over, the time for the check is not: approval sends the alert at once."""
    Group.objects.filter(pk=watch.cast.group.pk).update(hold_hours=72)
    watch.site.group.refresh_from_db()
    at_rest(watch, hours=1)
    visit = watch.submit_low()
    with after(2):
        approve(watch.cast, visit)
    assert kinds_to(INES) == ["contact.told"]


def test_a_corrected_visit_is_withdrawn_and_nobody_outside_ever_heard(watch: Watch) -> None:
    at_rest(watch)
    correct(watch.cast, watch.submit_low(), CLEAN_COUNTS)
    with after(49):
        watch_incidents()
    assert the_incident().state == IncidentState.WITHDRAWN
    assert kinds_to(INES) == []


def test_a_known_cause_can_be_closed_before_it_is_sent(watch: Watch) -> None:
    at_rest(watch)
    watch.submit_low()
    person = watch.cast.person("coordinator")
    close_incident(incident=the_incident(), person=person, outcome=Outcome.NATURAL, note="The weir.")
    with after(49):
        watch_incidents()
    assert kinds_to(INES) == []


def test_a_further_low_visit_in_quiet_is_news_for_the_group_only(watch: Watch) -> None:
    watch.submit_low(visited_on=days_ago(3).isoformat())
    at_rest(watch)
    watch.submit_low(by="other_volunteer")
    assert kinds_to(INES) == ["contact.told"]
    assert kinds_to(CORA) == ["coordinator.told", "coordinator.joined"]


def test_other_sites_and_later_visits_are_told_as_ever(watch: Watch) -> None:
    at_rest(watch, hours=1)
    with after(2):
        assert quiet_now(watch.site) is None
        watch.submit_low()
    assert kinds_to(INES) == ["contact.told"]


class TestBeginning:
    """What it takes to begin one."""

    @pytest.mark.parametrize("reason", ["", "   "])
    def test_it_needs_a_reason(self, watch: Watch, reason: str) -> None:
        with pytest.raises(ValidationError) as refusal:
            at_rest(watch, reason=reason)
        assert set(refusal.value.message_dict) == {"reason"}

    @pytest.mark.parametrize("wait", [timedelta(0), -timedelta(days=1), LONGEST + timedelta(minutes=1)])
    def test_it_needs_an_end_in_sight(self, watch: Watch, wait: timedelta) -> None:
        with pytest.raises(ValidationError) as refusal:
            at_rest(watch, ends_at=timezone.now() + wait)
        assert set(refusal.value.message_dict) == {"ends_at"}

    def test_a_site_is_quiet_once(self, watch: Watch) -> None:
        at_rest(watch)
        with pytest.raises(ValidationError, match="quiet already"):
            at_rest(watch)
        assert QuietPeriod.objects.of_group(watch.cast.group).count() == 1

    @pytest.mark.parametrize(
        ("who", "refusal"), [("volunteer", PermissionDenied), ("neighbour_coordinator", Http404)]
    )
    def test_only_the_groups_coordinators_may(self, watch: Watch, who: str, refusal: type[Exception]) -> None:
        until = timezone.now() + timedelta(days=1)
        with pytest.raises(refusal):
            begin_quiet(person=watch.cast.person(who), site=watch.site, ends_at=until, reason=REASON)

    def test_it_is_written_down(self, watch: Watch) -> None:
        quiet = at_rest(watch)
        row = history_of(quiet, watch.cast.group).get()
        assert (row.verb, row.reason, row.actor) == ("quiet.begun", REASON, watch.cast.coordinator)


class TestEnding:
    """Ending it before its time."""

    def test_what_it_held_leaves_at_the_next_look(self, watch: Watch) -> None:
        quiet = at_rest(watch)
        watch.submit_low()
        end_quiet(person=watch.cast.person("second_coordinator"), quiet=quiet)
        watch_incidents()
        assert kinds_to(INES) == ["contact.told"]
        assert [row.verb for row in history_of(quiet, watch.cast.group)] == ["quiet.begun", "quiet.ended"]

    def test_what_the_check_holds_longer_stays(self, watch: Watch) -> None:
        Group.objects.filter(pk=watch.cast.group.pk).update(hold_hours=72)
        watch.site.group.refresh_from_db()
        quiet = at_rest(watch)
        watch.submit_low()
        end_quiet(person=watch.cast.person("coordinator"), quiet=quiet)
        watch_incidents()
        assert kinds_to(INES) == []

    def test_one_that_is_over_stays_as_it_was(self, watch: Watch) -> None:
        quiet = at_rest(watch, hours=1)
        with after(2):
            ended = end_quiet(person=watch.cast.person("coordinator"), quiet=quiet)
        assert ended.ends_at == quiet.ends_at

    def test_only_the_groups_coordinators_may(self, watch: Watch) -> None:
        quiet = at_rest(watch)
        with pytest.raises(PermissionDenied):
            end_quiet(person=watch.cast.person("volunteer"), quiet=quiet)
        assert isinstance(quiet_now(watch.site), QuietPeriod)
        assert isinstance(quiet.ends_at, datetime)
