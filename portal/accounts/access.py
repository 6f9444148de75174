"""Who may do what: the one module of access rules.

A rule is a pure function of (person, thing). `require` turns a refusal into the right answer: somebody of
another group learns nothing (404), a member without the right is told so (403).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Protocol
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.models import Membership, Role


@dataclass(frozen=True)
class Person:
    """Whoever acts: an account with its roles, or nobody (no user id)."""

    user_id: UUID | None = None
    name: str = ""
    email: str = ""
    roles: Mapping[UUID, str] = field(default_factory=lambda: MappingProxyType({}))
    memberships: tuple[Membership, ...] = ()
    is_operator: bool = False

    @property
    def is_signed_in(self) -> bool:
        return self.user_id is not None

    @property
    def group_ids(self) -> tuple[UUID, ...]:
        return tuple(self.roles)

    def belongs_to(self, group_id: UUID) -> bool:
        """Whether the person has any role in the group, be it that of a guest."""
        return group_id in self.roles

    def is_member(self, group_id: UUID) -> bool:
        return self.belongs_to(group_id) and not self.is_reviewer(group_id)

    def is_reviewer(self, group_id: UUID) -> bool:
        """Whether the person is the group's guest, there for nothing but checking visits."""
        return self.roles.get(group_id) == Role.REVIEWER

    def is_coordinator(self, group_id: UUID) -> bool:
        return self.roles.get(group_id) == Role.COORDINATOR


NOBODY = Person()


class Owned(Protocol):
    """Anything that belongs to a group."""

    @property
    def group_id(self) -> UUID: ...


Rule = Callable[[Person, Any], bool]


def _member(person: Person, thing: Owned) -> bool:
    return person.is_member(thing.group_id)


def _insider(person: Person, thing: Owned) -> bool:
    """A member, or the guest who sees what checking a visit needs."""
    return person.belongs_to(thing.group_id)


def _coordinator(person: Person, thing: Owned) -> bool:
    return person.is_coordinator(thing.group_id)


def _coordinator_of_other(person: Person, membership: Any) -> bool:
    """Nobody takes off their own second factor by a way that is meant for others."""
    return _coordinator(person, membership) and membership.user_id != person.user_id


def _checker(person: Person, thing: Owned) -> bool:
    return person.is_coordinator(thing.group_id) or person.is_reviewer(thing.group_id)


def _uninvolved_checker(person: Person, visit: Any) -> bool:
    """Nobody approves a visit they took part in, typed or corrected."""
    return _checker(person, visit) and person.user_id not in visit.involved_user_ids


def _uninvolved_coordinator(person: Person, visit: Any) -> bool:
    return _coordinator(person, visit) and person.user_id not in visit.involved_user_ids


def _checker_or_of_visit(person: Person, visit: Any) -> bool:
    """Where somebody's phone was is for those who check it and for those who were there or typed it."""
    of_visit = {visit.entered_by_id, visit.recorder_id, visit.partner_id}
    return _checker(person, visit) or (_member(person, visit) and person.user_id in of_visit)


def _author(person: Person, thing: Any) -> bool:
    return _member(person, thing) and thing.entered_by_id == person.user_id


def _author_until_approved(person: Person, visit: Any) -> bool:
    """Pictures follow the visit that a phone sent in; what was approved is changed by a correction alone."""
    is_open = _author(person, visit) and visit.status != "approved"
    return is_open or _coordinator(person, visit)


def _recorder_or_typist(person: Person, visit: Any) -> bool:
    return _member(person, visit) and person.user_id in (visit.entered_by_id, visit.recorder_id)


def _asked(person: Person, question: Any) -> bool:
    return _member(person, question) and person.user_id == question.asked_of_id


def _member_or_contact(person: Person, incident: Any) -> bool:
    return _member(person, incident) or person.user_id in incident.contact_user_ids


def _coordinator_or_contact(person: Person, incident: Any) -> bool:
    return _coordinator(person, incident) or person.user_id in incident.contact_user_ids


def _contact(person: Person, incident: Any) -> bool:
    return person.user_id in incident.contact_user_ids


def _of_pair(person: Person, safe_return: Any) -> bool:
    return _member(person, safe_return) and person.user_id in safe_return.pair_ids


def _of_pair_or_coordinator(person: Person, safe_return: Any) -> bool:
    return _of_pair(person, safe_return) or _coordinator(person, safe_return)


def _own_place(person: Person, assignment: Any) -> bool:
    return _member(person, assignment) and person.user_id == assignment.user_id


def _concerned(person: Person, safe_return: Any) -> bool:
    """Who is out is told to those who went, to whom they named and to the coordinators, and to no one else."""
    involved = _member(person, safe_return) and person.user_id in safe_return.involved_user_ids
    return involved or _coordinator(person, safe_return)


def _starter_or_coordinator(person: Person, job: Any) -> bool:
    own = _member(person, job) and job.started_by_id == person.user_id
    return own or (_coordinator(person, job) and not job.is_private)


@dataclass(frozen=True)
class Action:
    """One right: what it lets a person do, in words, and the rule that decides."""

    label: Promise | str
    rule: Rule


ACTIONS: Mapping[str, Action] = MappingProxyType(
    {
        "desk.view": Action(_("see the group's desk"), _insider),
        "group.view": Action(_("see the group's pages"), _member),
        "group.edit": Action(_("change the group's settings"), _coordinator),
        "group.trail": Action(_("see who was given rights and who took files"), _coordinator),
        "people.view": Action(_("see who belongs to the group"), _member),
        "people.manage": Action(_("invite people and change their roles"), _coordinator),
        "factor.reset": Action(_("take off a member's lost second factor"), _coordinator_of_other),
        "enquiry.write": Action(_("write down somebody who asks to have a go"), _member),
        "enquiry.manage": Action(_("answer those who ask to join"), _coordinator),
        "training.manage": Action(_("write down who was trained"), _coordinator),
        "emergency.look": Action(_("see whom to ring for those who are out"), _of_pair_or_coordinator),
        "site.view": Action(_("see a site with its hazards and access notes"), _insider),
        "site.edit": Action(_("add and change sites"), _coordinator),
        "list.manage": Action(_("make and change recording lists"), _coordinator),
        "outing.edit": Action(_("change the group's checklist and times of going out"), _coordinator),
        "kit.view": Action(_("see the group's kits"), _member),
        "kit.manage": Action(_("add and change kits"), _coordinator),
        "kit.clean": Action(_("write down how a kit was cleaned"), _member),
        "river.report": Action(_("report the level of a river"), _member),
        "return.start": Action(_("start a safe return"), _member),
        "return.view": Action(_("see a safe return"), _concerned),
        "return.extend": Action(_("take more time for a safe return"), _of_pair),
        "return.end": Action(_("end a safe return"), _concerned),
        "trigger.set": Action(_("set the level below which the agency is told"), _coordinator),
        "contact.manage": Action(_("name the agency contacts of a site"), _coordinator),
        "visit.submit": Action(_("submit a visit"), _member),
        "visit.view": Action(_("see a visit"), _insider),
        "visit.see_position": Action(_("see where a visit was made"), _checker_or_of_visit),
        "visit.mend": Action(_("mend a visit until it is approved"), _recorder_or_typist),
        "visit.add_photo": Action(
            _("add a picture to this visit; once it is approved only a coordinator may"), _author_until_approved
        ),
        "draft.edit": Action(_("go on with a draft"), _author),
        "visit.review": Action(_("see what waits to be checked"), _checker),
        "question.ask": Action(_("ask the recorder of a visit"), _checker),
        "question.answer": Action(_("answer a question about a visit"), _asked),
        "visit.rescore": Action(_("have visits scored anew"), _coordinator),
        "visit.correct": Action(_("correct a visit, with a reason"), _coordinator),
        "visit.return": Action(_("return a visit to its recorder"), _uninvolved_checker),
        "visit.approve": Action(_("approve a visit"), _uninvolved_checker),
        "visit.test_anyway": Action(
            _("test a visit against the trigger all the same"), _uninvolved_coordinator
        ),
        "incident.view": Action(_("see an incident and its evidence"), _member_or_contact),
        "incident.acknowledge": Action(_("acknowledge an alert"), _coordinator_or_contact),
        "incident.note": Action(_("add a note to an incident"), _coordinator_or_contact),
        "incident.close": Action(_("close an incident with its outcome"), _coordinator_or_contact),
        "incident.forward": Action(_("pass an alert on to a colleague"), _contact),
        "repeat.ask": Action(_("ask for a repeat visit"), _coordinator),
        "rota.view": Action(_("see the rota and say when you can go"), _member),
        "rota.plan": Action(_("propose, change and publish the rota"), _coordinator),
        "rota.answer": Action(_("answer for this place on the rota"), _own_place),
        "import.run": Action(_("load visits from a spreadsheet"), _coordinator),
        "export.run": Action(_("take the group's records out as a file"), _member),
        "archive.make": Action(_("make an archive of the records under the group's licence"), _coordinator),
        "job.view": Action(_("see long work under way and what it made"), _starter_or_coordinator),
        "job.stop": Action(_("stop long work"), _starter_or_coordinator),
        "catchment.share": Action(_("share the group's results in a catchment, and leave it"), _coordinator),
        "report.view": Action(_("see the group's yearly reports"), _member),
        "report.make": Action(_("make and publish the yearly report"), _coordinator),
        "outbox.view": Action(_("see messages that could not be delivered"), _coordinator),
        "outbox.retry": Action(_("have messages that could not be delivered tried again"), _coordinator),
    }
)


def allowed(person: Person, action: str, thing: Any) -> bool:
    """Whether `person` may do `action` to `thing`. An unknown action raises KeyError."""
    rule = ACTIONS[action].rule
    return person.is_signed_in and rule(person, thing)


def _knows_of(person: Person, thing: Any) -> bool:
    contacts = getattr(thing, "contact_user_ids", ())
    return person.belongs_to(thing.group_id) or (person.is_signed_in and person.user_id in contacts)


def require(person: Person, action: str, thing: Any) -> None:
    """Let through who may; a stranger gets Http404, an insider without the right PermissionDenied."""
    if allowed(person, action, thing):
        return
    if not _knows_of(person, thing):
        raise Http404
    raise PermissionDenied(str(_("You may not %(action)s.") % {"action": ACTIONS[action].label}))


def acting_id(person: Person) -> UUID:
    """The account that acts; raises PermissionDenied for nobody, whom every access rule turns away before."""
    if person.user_id is None:
        raise PermissionDenied
    return person.user_id
