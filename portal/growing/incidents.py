"""An incident for each low visit, with the course that the portal would have sealed."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from typing import Any
from uuid import UUID

from django.db import models

from alerts.chain.facts import entries_about, sealed_visits, visit_facts
from alerts.chain.sealing import NO_SEAL, STEP_VERB, seal_of, sealed_form
from alerts.models import EventKind, Incident, IncidentEvent, IncidentState, Outcome
from portal.audit.models import AuditEntry
from portal.growing.extent import numbers
from portal.growing.land import Land
from portal.growing.tables import copy_whole
from portal.growing.visiting import Judged
from surveys.models import Visit

OUTCOMES = (Outcome.SOURCE_STOPPED, Outcome.SOURCE_SUSPECTED, Outcome.NATURAL, Outcome.NOT_CONFIRMED)
ANSWERED_AFTER, CLOSED_AFTER = timedelta(hours=14), timedelta(days=12)
TABLES: tuple[type[models.Model], ...] = (Incident, IncidentEvent, Incident.visits.through)
GROUPS_AT_ONCE = 100


@dataclass
class Course:
    """The incident of one visit while it is written: its steps and the entries in the trail."""

    incident: Incident
    visit: Visit
    history: Sequence[AuditEntry]
    keys: Iterator[str]
    steps: list[IncidentEvent] = field(default_factory=list)
    entries: list[AuditEntry] = field(default_factory=list)

    def note(self, verb: str, at: datetime, **changes: Any) -> None:
        """An entry in the trail; changes are pairs of before and after."""
        self.entries.append(
            AuditEntry(
                pk=UUID(next(self.keys)),
                group_id=self.incident.group_id,
                at=at,
                actor_name="Rifflebook",
                verb=verb,
                object_type=Incident._meta.label_lower,
                object_id=self.incident.pk,
                changes=changes,
            )
        )

    def step(self, kind: EventKind, at: datetime, **who: Any) -> None:
        """The next step, sealed onto the one before."""
        known = [each for each in self.history if each.at <= at]
        step = IncidentEvent(
            pk=UUID(next(self.keys)),
            incident=self.incident,
            kind=kind,
            at=at,
            sequence=len(self.steps) + 1,
            facts={"visits": [visit_facts(self.visit, known) | {"is_low": True}]},
            **who,
        )
        step.seal = seal_of(self.steps[-1].seal if self.steps else NO_SEAL, sealed_form(step))
        self.steps.append(step)
        self.note(STEP_VERB, at, sequence=step.sequence, seal=step.seal)


def write_incidents(land: Land, low: Sequence[Judged]) -> int:
    """Write an incident for each of these visits, which are on record already; returns how many."""
    by_group: dict[int, list[Judged]] = defaultdict(list)
    for each in low:
        by_group[land.group_of(each.plan.site)].append(each)
    places = sorted(by_group)
    for start in range(0, len(places), GROUPS_AT_ONCE):
        some = places[start : start + GROUPS_AT_ONCE]
        _write([course for place in some for course in _courses(land, place, by_group[place])])
    return len(low)


def _write(courses: Sequence[Course]) -> None:
    copy_whole(each.incident for each in courses)
    through = Incident.visits.through
    copy_whole(through(incident_id=each.incident.pk, visit_id=each.visit.pk) for each in courses)
    copy_whole(step for each in courses for step in each.steps)
    copy_whole(entry for each in courses for entry in each.entries)


def _courses(land: Land, place: int, low: Sequence[Judged]) -> Iterator[Course]:
    group = land.groups[place]
    visits = {
        each.pk: each for each in sealed_visits(Incident(group=group), [UUID(each.plan.id) for each in low])
    }
    histories = entries_about(Incident(group=group), visits.values())
    years: Counter[int] = Counter()
    rng = land.extent.chance(12, place)
    for each in low:
        visit = visits[UUID(each.plan.id)]
        years[visit.visited_on.year] += 1
        key, *keys = numbers(rng, 20)
        incident = Incident(
            pk=UUID(key),
            group=group,
            site=land.sites[each.plan.site],
            year=visit.visited_on.year,
            number=years[visit.visited_on.year],
            opened_at=visit.submitted_at,
            contacts_told=1,
        )
        course = Course(incident, visit, histories[visit.pk], iter(keys))
        _follow(course, land, each)
        yield course


def _follow(course: Course, land: Land, judged: Judged) -> None:
    """Tell, acknowledge, confirm and close, as far as time has come."""
    incident, visit, plan = course.incident, course.visit, judged.plan
    group, opened, end = (
        land.group_of(plan.site),
        incident.opened_at,
        datetime.combine(land.extent.until, time(), UTC),
    )
    contact, people = land.contacts[group], land.people[group]
    course.note("incident.opened", opened, state=[None, "open"], value=[None, judged.judgement.value])
    recorder = people[plan.recorder]
    course.step(EventKind.OPENED, opened, visit=visit, actor=recorder, actor_name=recorder.name)
    course.step(EventKind.TOLD, opened + timedelta(seconds=1), visit=visit, contact=contact)
    if opened + ANSWERED_AFTER >= end:
        incident.state = IncidentState.OPEN
        return
    _acknowledge(course, f"by link sent to {contact.name}", contact)
    if visit.reviewed_at is not None:
        incident.confirmed_at = visit.reviewed_at
        reviewer = people[plan.reviewer]
        course.step(
            EventKind.CONFIRMED, visit.reviewed_at, visit=visit, actor=reviewer, actor_name=reviewer.name
        )
    if opened + CLOSED_AFTER < end:
        _close(course, OUTCOMES[plan.choice % len(OUTCOMES)], contact)


def _acknowledge(course: Course, who: str, contact: Any) -> None:
    incident, at = course.incident, course.incident.opened_at + ANSWERED_AFTER
    incident.state, incident.acknowledged_at, incident.acknowledged_by = IncidentState.ACKNOWLEDGED, at, who
    course.note("incident.acknowledged", at, state=["open", "acknowledged"], acknowledged_by=["", who])
    course.step(EventKind.ACKNOWLEDGED, at, contact=contact, actor_name=who)


def _close(course: Course, outcome: Outcome, contact: Any) -> None:
    incident, at = course.incident, course.incident.opened_at + CLOSED_AFTER
    incident.state, incident.outcome, incident.closed_at = IncidentState.CLOSED, outcome, at
    course.note("incident.closed", at, state=["acknowledged", "closed"], outcome=["", str(outcome)])
    who = f"by link sent to {contact.name}"
    course.step(EventKind.CLOSED, at, contact=contact, actor_name=who, note=str(outcome.label))
