"""Every state of an incident against every step, by everybody: two tables and no cell left out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from copy import deepcopy
from datetime import timedelta
from typing import Any, TypeVar

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.http import Http404
from django.utils import timezone

from alerts.models import Incident, IncidentState, Outcome
from alerts.services.incidents import (
    acknowledge_incident,
    add_note,
    close_incident,
    investigate_incident,
    renew_links,
)
from alerts.services.repeat_course import take_repeat
from alerts.services.repeats import ask_again
from alerts.tasks import watch_incidents
from portal.accounts.access import NOBODY, Person
from surveys.models import Visit
from surveys.services.visits import return_visit
from tests.alerts.conftest import LOW, Watch, incidents, kinds_to, mails, the_incident
from tests.alerts.test_incidents import approve, correct
from tests.factories import CLEAN_COUNTS, UserFactory, account_at, days_ago, person_for

pytestmark = pytest.mark.django_db
INES = "ines@rivers.example"
STATES = tuple(IncidentState.values)
OTHER = {"by": "other_volunteer", "visited_on": days_ago(3).isoformat()}


def bring_to(watch: Watch, state: str) -> Visit:
    """One low visit whose incident has come to this state by what people do."""
    watch.cast.group.hold_hours = 6 if state == IncidentState.HELD else 0
    watch.cast.group.save()
    watch.site.group.refresh_from_db()
    visit = watch.submit_low()
    person = watch.cast.person("coordinator")
    if state == IncidentState.ACKNOWLEDGED:
        acknowledge_incident(incident=the_incident(), contact=watch.first)
    elif state == IncidentState.INVESTIGATED:
        investigate_incident(incident=the_incident(), contact=watch.first)
    elif state == IncidentState.WITHDRAWN:
        correct(watch.cast, visit, CLEAN_COUNTS)
    elif state == IncidentState.CLOSED:
        close_incident(incident=the_incident(), person=person, outcome=Outcome.NATURAL, note="")
    assert the_incident().state == state
    return Visit.objects.of_group(watch.cast.group).get(pk=visit.pk)


@contextmanager
def taken_back() -> Iterator[None]:
    """Whatever happens inside is undone, so that many steps can be tried from one state."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


Act = Callable[..., Any]
ACTS: Mapping[str, Act] = {
    "acknowledge": acknowledge_incident,
    "investigate": investigate_incident,
    "note": lambda **who: add_note(note="On my way.", **who),
    "close": lambda **who: close_incident(outcome=Outcome.SOURCE_STOPPED, note="Mended.", **who),
    "renew": lambda **who: renew_links(**who),
    "ask again": lambda incident, person: ask_again(incident=incident, person=person),
    "take": lambda incident, person: take_repeat(incident=incident, person=person),
}
# What whoever may act at all is answered in each state: done, or refused in words.
#                held      open   acknowledged investigated withdrawn closed
BY_STATE = {
    act: dict(zip(STATES, row.split(), strict=True))
    for act, row in {
        "acknowledge": "refused done   done         done         done      done",
        "investigate": "refused done   done         done         refused   refused",
        "note": "       done    done   done         done         done      done",
        "close": "      done    done   done         done         refused   refused",
        "renew": "      done    done   done         done         done      done",
        # A repeat visit is wanted already while the incident lives, and by nobody once it is over.
        "ask again": "  refused refused refused     refused      refused   refused",
        "take": "       done    done   done         done         refused   refused",
    }.items()
}
# Who may act: "as state" is answered by the table above.
BY_ROLE = {
    "coordinator": {},
    # Any member may go, and nobody from the agency.
    "volunteer": {act: "403" for act in ACTS if act != "take"},
    "contact": {"renew": "403", "ask again": "403", "take": "403"},
    "neighbour": dict.fromkeys(ACTS, "404"),
    "stranger": dict.fromkeys(ACTS, "404"),
    "claimant": dict.fromkeys(ACTS, "404"),
    "nobody": dict.fromkeys(ACTS, "404"),
}


def expected(state: str, act: str, role: str) -> str:
    if role == "contact" and state == IncidentState.HELD:
        return "404"
    return BY_ROLE[role].get(act, BY_STATE[act][state])


def cast_of(watch: Watch) -> Mapping[str, Person]:
    return {
        "coordinator": watch.cast.person("second_coordinator"),
        "volunteer": watch.cast.person("volunteer"),
        "contact": person_for(account_at(INES)),
        "neighbour": watch.cast.person("neighbour_coordinator"),
        "stranger": watch.cast.person("stranger"),
        # Has an account with a contact's address and has never shown that mail is read there.
        "claimant": person_for(UserFactory(email=watch.second.email)),
        "nobody": NOBODY,
    }


def answer(act: Act, **who: Any) -> str:
    with taken_back():
        try:
            act(incident=the_incident(), **who)
        except ValidationError:
            return "refused"
        except PermissionDenied:
            return "403"
        except Http404:
            return "404"
    return "done"


@pytest.mark.parametrize("state", STATES)
def test_it_answers_everybody_as_the_tables_say(watch: Watch, state: str) -> None:
    bring_to(watch, state)
    people = cast_of(watch)
    assert set(people) == set(BY_ROLE)
    got = {(act, role): answer(ACTS[act], person=people[role]) for act in ACTS for role in people}
    assert got == {(act, role): expected(state, act, role) for act in ACTS for role in people}


@pytest.mark.parametrize("state", [each for each in STATES if each != IncidentState.HELD])
def test_it_answers_a_link_as_it_answers_whoever_may_act(watch: Watch, state: str) -> None:
    bring_to(watch, state)
    acts = ("acknowledge", "investigate", "note", "close")
    assert {act: answer(ACTS[act], contact=watch.first) for act in acts} == {
        act: BY_STATE[act][state] for act in acts
    }


def by_clock(watch: Watch, _visit: Visit) -> None:
    with time_machine.travel(timezone.now() + timedelta(days=2), tick=True):
        watch_incidents()


def send_back(watch: Watch, visit: Visit) -> None:
    if visit.status == "waiting":
        return_visit(person=watch.cast.person("coordinator"), visit=visit, message="Was it a full minute?")


def by_coordinator(act: str) -> Callable[[Watch, Visit], None]:
    def step(watch: Watch, _visit: Visit) -> None:
        try:
            ACTS[act](incident=the_incident(), person=watch.cast.person("coordinator"))
        except ValidationError:
            assert BY_STATE[act][the_incident().state] == "refused"

    return step


STEPS: Mapping[str, Callable[[Watch, Visit], Any]] = {
    "acknowledge": by_coordinator("acknowledge"),
    "note": by_coordinator("note"),
    "close": by_coordinator("close"),
    "investigate": by_coordinator("investigate"),
    "clock": by_clock,
    "approve": lambda watch, visit: approve(watch.cast, visit),
    "send back": send_back,
    "lift": lambda watch, visit: correct(watch.cast, visit, CLEAN_COUNTS | {"Elmidae": 9}),
    "still low": lambda watch, visit: correct(watch.cast, visit, LOW | {"Elmidae": 1}),
    "further low": lambda watch, _visit: watch.submit_low(**OTHER),
    "further clean": lambda watch, _visit: watch.submit_clean(**OTHER),
}
# Where each step leads from each state; "+open" is a new incident beside the old one.
#                   held       open         acknowledged  investigated   withdrawn        closed
LEADS = {
    "acknowledge": "held       acknowledged acknowledged  investigated   withdrawn        closed",
    "investigate": "held       investigated investigated  investigated   withdrawn        closed",
    "note": "       held       open         acknowledged  investigated   withdrawn        closed",
    "close": "      closed     closed       closed        closed         withdrawn        closed",
    "clock": "      open       open         acknowledged  investigated   withdrawn        closed",
    "approve": "    open       open         acknowledged  investigated   withdrawn        closed",
    "send back": "  held       open         acknowledged  investigated   withdrawn        closed",
    "lift": "       withdrawn  withdrawn    withdrawn     withdrawn      withdrawn        closed",
    "still low": "  held       open         acknowledged  investigated   withdrawn+open   closed",
    "further low": "held       open         acknowledged  investigated   withdrawn+open   closed+open",
    "further clean": "held     open         acknowledged  investigated   withdrawn        closed",
}
ENDS = {step: dict(zip(STATES, row.split(), strict=True)) for step, row in LEADS.items()}


def test_the_table_names_every_step() -> None:
    assert set(LEADS) == set(STEPS)


@pytest.mark.parametrize("state", STATES)
def test_each_step_leads_where_the_table_says(watch: Watch, state: str) -> None:
    visit = bring_to(watch, state)
    found = {step: after(watch, visit, step, incidents) for step in STEPS}
    assert {step: "+".join(each.state for each in rows) for step, (rows, _whole) in found.items()} == {
        step: ends[state] for step, ends in ENDS.items()
    }
    assert [step for step, (_rows, are_whole) in found.items() if not are_whole] == []


T = TypeVar("T")


def after(watch: Watch, visit: Visit, step: str, look: Callable[[], T]) -> tuple[T, bool]:
    """What is there to see after the step, and whether all incidents are then whole; the step is taken back."""
    with taken_back():
        STEPS[step](deepcopy(watch), deepcopy(visit))
        return look(), all(is_whole(each) for each in incidents())


def is_whole(incident: Incident) -> bool:
    """What must hold of every incident in every state."""
    state = incident.state
    waits_for_answer = incident.acknowledge_by is not None
    return (
        (incident.send_by is not None) == (state == IncidentState.HELD)
        and (not waits_for_answer or state == IncidentState.OPEN)
        and (incident.outcome != "") == (incident.closed_at is not None) == (state == IncidentState.CLOSED)
        and (incident.contacts_told == 0) == (not incident.events.filter(kind="told").exists())
    )


def test_nothing_leaves_the_group_while_the_alert_is_held(watch: Watch) -> None:
    visit = bring_to(watch, IncidentState.HELD)
    told = {step: after(watch, visit, step, kinds_to_contacts)[0] for step in STEPS}
    assert {step: kinds for step, kinds in told.items() if kinds} == {
        "approve": ["contact.told"],
        "clock": ["contact.told"],
    }


def kinds_to_contacts() -> list[str]:
    return [each.kind for each in mails() if each.kind.startswith("contact.")]


@pytest.mark.parametrize("state", [IncidentState.WITHDRAWN, IncidentState.CLOSED])
def test_the_clock_leaves_what_is_over_alone(watch: Watch, state: str) -> None:
    visit = bring_to(watch, state)
    before = kinds_to(INES)
    by_clock(watch, visit)
    assert kinds_to(INES) == before


def test_a_second_look_by_the_clock_does_nothing_more(watch: Watch) -> None:
    """The same minute asked twice, as by two schedulers: nobody is written to twice."""
    bring_to(watch, IncidentState.HELD)
    with time_machine.travel(timezone.now() + timedelta(hours=6, minutes=1), tick=False):
        assert [watch_incidents() for _ in range(3)] == [1, 0, 0]
    with time_machine.travel(timezone.now() + timedelta(hours=10, minutes=2), tick=False):
        assert [watch_incidents() for _ in range(3)] == [1, 0, 0]
    keys = [each.key for each in mails()]
    assert len(keys) == len(set(keys))
    assert kinds_to(INES) == ["contact.told"]
    assert kinds_to("bo@rivers.example") == ["contact.told"]
