"""Who may do what: every right, for every kind of person, as a table."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404

from portal.accounts.access import ACTIONS, NOBODY, Person, allowed, require
from portal.accounts.models import Role
from tests.conftest import Cast
from tests.factories import person_for

GROUP = uuid4()


@dataclass
class Thing:
    """A visit, draft or incident, as far as the rules look at it."""

    group_id: UUID = GROUP
    entered_by_id: UUID | None = None
    asked_of_id: UUID | None = None
    recorder_id: UUID | None = None
    partner_id: UUID | None = None
    started_by_id: UUID | None = None
    user_id: UUID | None = None
    status: str = "waiting"
    is_private: bool = False
    involved_user_ids: set[UUID] = field(default_factory=set)
    pair_ids: set[UUID] = field(default_factory=set)
    contact_user_ids: set[UUID] = field(default_factory=set)


def person(role: str = "", group: UUID = GROUP) -> Person:
    return Person(user_id=uuid4(), roles={group: role} if role else {})


VOLUNTEER, COORDINATOR = person(Role.VOLUNTEER), person(Role.COORDINATOR)
AUTHOR, RECORDER = person(Role.VOLUNTEER), person(Role.VOLUNTEER)
INVOLVED = person(Role.COORDINATOR)
REVIEWER, INVOLVED_REVIEWER = person(Role.REVIEWER), person(Role.REVIEWER)
CONTACT, STRANGER = person(), person()
NEIGHBOUR = person(Role.COORDINATOR, uuid4())
EVERYBODY = {
    "volunteer": VOLUNTEER,
    "coordinator": COORDINATOR,
    "author": AUTHOR,
    "recorder": RECORDER,
    "involved": INVOLVED,
    "reviewer": REVIEWER,
    "involved reviewer": INVOLVED_REVIEWER,
    "contact": CONTACT,
    "stranger": STRANGER,
    "neighbour": NEIGHBOUR,
    "nobody": NOBODY,
}
THING = Thing(
    user_id=AUTHOR.user_id,
    entered_by_id=AUTHOR.user_id,
    asked_of_id=AUTHOR.user_id,
    recorder_id=RECORDER.user_id,
    partner_id=INVOLVED.user_id,
    started_by_id=AUTHOR.user_id,
    involved_user_ids={
        each.user_id for each in (AUTHOR, RECORDER, INVOLVED, INVOLVED_REVIEWER) if each.user_id
    },
    pair_ids={each.user_id for each in (AUTHOR, RECORDER) if each.user_id},
    contact_user_ids={CONTACT.user_id} if CONTACT.user_id else set(),
)

MEMBERS = {"volunteer", "coordinator", "author", "recorder", "involved"}
COORDINATORS = {"coordinator", "involved"}
UNINVOLVED = {"coordinator"}
REVIEWERS = {"reviewer", "involved reviewer"}
INSIDERS, CHECKERS = MEMBERS | REVIEWERS, COORDINATORS | REVIEWERS
UNINVOLVED_CHECKERS = UNINVOLVED | {"reviewer"}
EXPECTED = {
    "desk.view": INSIDERS,
    "group.view": MEMBERS,
    "group.edit": COORDINATORS,
    "group.trail": COORDINATORS,
    "people.view": MEMBERS,
    "people.manage": COORDINATORS,
    "factor.reset": COORDINATORS,
    "enquiry.write": MEMBERS,
    "enquiry.manage": COORDINATORS,
    "training.manage": COORDINATORS,
    "emergency.look": COORDINATORS | {"author", "recorder"},
    "site.view": INSIDERS,
    "site.edit": COORDINATORS,
    "outing.edit": COORDINATORS,
    "kit.view": MEMBERS,
    "kit.manage": COORDINATORS,
    "kit.clean": MEMBERS,
    "river.report": MEMBERS,
    "return.start": MEMBERS,
    "return.view": COORDINATORS | {"author", "recorder"},
    "return.extend": {"author", "recorder"},
    "return.end": COORDINATORS | {"author", "recorder"},
    "trigger.set": COORDINATORS,
    "contact.manage": COORDINATORS,
    "catchment.share": COORDINATORS,
    "visit.submit": MEMBERS,
    "visit.view": INSIDERS,
    "visit.see_position": CHECKERS | {"author", "recorder"},
    "visit.mend": {"author", "recorder"},
    "visit.add_photo": {"author", *COORDINATORS},
    "draft.edit": {"author"},
    "visit.review": CHECKERS,
    "visit.correct": COORDINATORS,
    "question.ask": CHECKERS,
    "question.answer": {"author"},
    "visit.return": UNINVOLVED_CHECKERS,
    "visit.approve": UNINVOLVED_CHECKERS,
    "visit.test_anyway": UNINVOLVED,
    "incident.view": MEMBERS | {"contact"},
    "incident.acknowledge": COORDINATORS | {"contact"},
    "incident.note": COORDINATORS | {"contact"},
    "incident.close": COORDINATORS | {"contact"},
    "incident.forward": {"contact"},
    "repeat.ask": COORDINATORS,
    "rota.view": MEMBERS,
    "rota.plan": COORDINATORS,
    "rota.answer": {"author"},
    "list.manage": COORDINATORS,
    "visit.rescore": COORDINATORS,
    "import.run": COORDINATORS,
    "export.run": MEMBERS,
    "archive.make": COORDINATORS,
    "job.view": {"author", *COORDINATORS},
    "job.stop": {"author", *COORDINATORS},
    "report.view": MEMBERS,
    "report.make": COORDINATORS,
    "outbox.view": COORDINATORS,
    "outbox.retry": COORDINATORS,
}


def test_it_has_an_expectation_for_every_right() -> None:
    assert set(EXPECTED) == set(ACTIONS)


@pytest.mark.parametrize("action", sorted(ACTIONS))
def test_it_lets_those_and_only_those(action: str) -> None:
    may = {name for name, someone in EVERYBODY.items() if allowed(someone, action, THING)}
    assert may == EXPECTED[action]


@pytest.mark.parametrize("action", sorted(ACTIONS))
def test_it_never_lets_another_groups_coordinator(action: str) -> None:
    with pytest.raises(Http404):
        require(NEIGHBOUR, action, THING)


def test_it_tells_a_member_that_they_may_not() -> None:
    with pytest.raises(PermissionDenied, match="You may not approve a visit"):
        require(VOLUNTEER, "visit.approve", THING)


def test_it_tells_a_stranger_nothing() -> None:
    for outsider in (STRANGER, NOBODY):
        with pytest.raises(Http404):
            require(outsider, "visit.view", THING)


def test_it_tells_a_contact_that_they_may_not() -> None:
    with pytest.raises(PermissionDenied):
        require(CONTACT, "report.make", THING)


def test_it_refuses_an_unknown_right_loudly() -> None:
    with pytest.raises(KeyError):
        allowed(COORDINATOR, "visit.aprove", THING)


def test_it_gives_nobody_nothing_even_where_nobody_typed() -> None:
    """A record without an author must not belong to whoever is not signed in."""
    assert not allowed(NOBODY, "draft.edit", Thing(entered_by_id=None))
    assert not allowed(NOBODY, "incident.view", SimpleNamespace(group_id=GROUP, contact_user_ids={None}))


def test_an_operator_has_no_way_into_a_group() -> None:
    operator = Person(user_id=uuid4(), is_operator=True)
    assert not any(allowed(operator, action, THING) for action in ACTIONS)


def test_nobody_takes_off_their_own_second_factor_as_if_they_were_another() -> None:
    assert not allowed(COORDINATOR, "factor.reset", Thing(user_id=COORDINATOR.user_id))


def test_it_says_every_right_in_words() -> None:
    assert all(str(action.label) for action in ACTIONS.values())


def test_a_person_may_hold_different_roles_in_several_groups(cast: Cast) -> None:
    from tests.factories import MembershipFactory

    MembershipFactory(group=cast.neighbour, user=cast.coordinator)
    both = person_for(cast.coordinator)
    assert allowed(both, "site.edit", cast.site)
    assert allowed(both, "site.view", cast.neighbour_site)
    assert not allowed(both, "site.edit", cast.neighbour_site)


def test_a_group_belongs_to_itself(cast: Cast) -> None:
    assert allowed(cast.person("coordinator"), "group.edit", cast.group)
    assert not allowed(cast.person("neighbour_coordinator"), "group.edit", cast.group)


def test_an_account_that_was_closed_is_nobody(cast: Cast) -> None:
    cast.coordinator.is_active = False
    cast.coordinator.save()
    acting: Any = person_for(cast.coordinator)
    assert acting == NOBODY
