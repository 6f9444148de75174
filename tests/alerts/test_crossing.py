"""Two people, or one and the clock, at one incident: the later goes on from what the earlier left."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import ExitStack, contextmanager
from functools import partial
from types import ModuleType
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from alerts.models import Incident, IncidentState, Outcome, Trigger
from alerts.services import response, triggers, verdicts
from alerts.services.incidents import close_incident
from alerts.services.triggers import set_trigger
from alerts.services.verdicts import test_visit_anyway as run_anyway
from alerts.services.watching import watch_all
from portal.accounts.models import Group
from surveys.models import Visit
from surveys.services.review import approve_visit
from surveys.services.visits import correct_visit
from tests.alerts.conftest import LEVEL, Watch, course, incidents, kinds_to, the_incident, verdict_of
from tests.factories import days_ago, submission_for
from tests.threads import PATIENCE, in_thread

pytestmark = pytest.mark.django_db(transaction=True)
INES, BO = "ines@rivers.example", "bo@rivers.example"
Rival = Callable[[], Any]


def after_reading(monkeypatch: pytest.MonkeyPatch, module: ModuleType, name: str, rival: Rival) -> None:
    """Somebody else does all of their work right after the first call of this function has read."""
    real, rivals = getattr(module, name), [rival]

    def read_and_be_overtaken(*args: Any, **kwargs: Any) -> Any:
        found = real(*args, **kwargs)
        while rivals:
            overtaking = partial(never_waiting_for_ever, rivals.pop())
            with in_thread(overtaking) as done:
                done.result()
        return found

    monkeypatch.setattr(module, name, read_and_be_overtaken)


def never_waiting_for_ever(rival: Rival) -> Any:
    """Whoever waits for a lock of the one who waits for them gives up."""
    with connection.cursor() as cursor:
        cursor.execute(f"SET lock_timeout = '{PATIENCE}s'")
    return rival()


def close(watch: Watch) -> Incident:
    person, incident = watch.cast.person("coordinator"), the_incident()
    return close_incident(incident=incident, outcome=Outcome.NATURAL, note="Looked.", person=person)


def correct_up(watch: Watch, visit: Visit) -> Visit:
    """A coordinator corrects the counts: it is not below any more."""
    clean = submission_for(watch.site, id=str(visit.pk), visited_on=visit.visited_on.isoformat())
    person = watch.cast.person("coordinator")
    return correct_visit(person=person, visit=visit, submission=clean, reason="The tray was seen.")


def send_held_later(watch: Watch) -> Visit:
    """A low visit whose alert is held for its check, and whose time is up."""
    Group.objects.filter(pk=watch.cast.group.pk).update(hold_hours=6)
    watch.cast.group.refresh_from_db()
    watch.site.refresh_from_db()
    visit = watch.submit_low()
    assert the_incident().state == IncidentState.HELD
    Incident.objects.of_group(watch.cast.group).update(send_by=the_incident().opened_at)
    return visit


def test_a_low_visit_that_crosses_the_closing_opens_an_incident_of_its_own(
    watch: Watch, monkeypatch: pytest.MonkeyPatch
) -> None:
    watch.submit_low()
    after_reading(monkeypatch, response, "_live_at_site", lambda: close(watch))
    watch.submit_low("other_volunteer")
    closed, opened = incidents()
    assert (closed.state, closed.visits.count()) == (IncidentState.CLOSED, 1)
    assert (opened.state, course(opened)) == (IncidentState.OPEN, ["opened", "told"])
    assert kinds_to(INES) == ["contact.told", "contact.closed", "contact.told"]


def test_a_correction_that_crosses_the_closing_leaves_it_closed(
    watch: Watch, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit = watch.submit_low()
    after_reading(monkeypatch, response, "_incident_of", lambda: close(watch))
    correct_up(watch, visit)
    assert the_incident().state == IncidentState.CLOSED
    assert course(the_incident()) == ["opened", "told", "closed", "lifted"]


def test_an_approval_that_crosses_the_sending_tells_nobody_twice(
    watch: Watch, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit = send_held_later(watch)
    after_reading(monkeypatch, response, "_incident_of", watch_all)
    approve_visit(person=watch.cast.person("coordinator"), visit=visit, accept_findings_reason="Seen.")
    assert kinds_to(INES) == ["contact.told", "contact.confirmed"]
    assert (kinds_to(BO), the_incident().contacts_told) == ([], 1)


def test_a_correction_that_crosses_the_sending_is_told_to_whoever_got_the_alert(
    watch: Watch, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit = send_held_later(watch)
    after_reading(monkeypatch, response, "_incident_of", watch_all)
    correct_up(watch, visit)
    assert the_incident().state == IncidentState.WITHDRAWN
    assert kinds_to(INES) == ["contact.told", "contact.withdrawn"]


@contextmanager
def held_up(
    monkeypatch: pytest.MonkeyPatch, module: ModuleType, name: str, rival: Rival
) -> Iterator[list[Future[Any]]]:
    """Somebody else begins when this function is called first, and is done when the block is left."""
    real = getattr(module, name)
    begun: list[Future[Any]] = []
    with ExitStack() as until_done:

        def begin_and_go_on(*args: Any, **kwargs: Any) -> Any:
            if not begun:
                begun.append(until_done.enter_context(in_thread(rival)))
                with pytest.raises(TimeoutError):
                    begun[0].result(timeout=0.3)
            return real(*args, **kwargs)

        monkeypatch.setattr(module, name, begin_and_go_on)
        yield begun


def test_testing_anyway_is_not_lost_to_an_approval(watch: Watch, monkeypatch: pytest.MonkeyPatch) -> None:
    visit = watch.submit_low(water_level="spate")
    one, other = watch.cast.person("coordinator"), watch.cast.person("second_coordinator")

    def test_anyway() -> None:
        run_anyway(person=other, visit=visit, reason="Gauge normal.")

    with held_up(monkeypatch, verdicts, "judge", test_anyway) as begun:
        approve_visit(person=one, visit=visit, accept_findings_reason="Seen.")
    assert begun[0].exception() is None
    assert verdict_of(visit).tested_anyway_by == watch.cast.second_coordinator
    assert verdict_of(visit).outcome == "below"
    assert the_incident().confirmed_at is not None


def test_only_one_of_two_first_triggers_is_back_dated(watch: Watch, monkeypatch: pytest.MonkeyPatch) -> None:
    Trigger.objects.of_group(watch.cast.group).delete()

    def back_date(role: str) -> Trigger:
        return set_trigger(
            person=watch.cast.person(role),
            site=watch.site,
            index="bmwp",
            level=LEVEL,
            valid_from=days_ago(30),
            reason="Agreed.",
        )

    with held_up(monkeypatch, triggers, "_check_own_record", lambda: back_date("second_coordinator")) as begun:
        back_date("coordinator")
    assert isinstance(begun[0].exception(), ValidationError)
    assert Trigger.objects.of_group(watch.cast.group).count() == 1
