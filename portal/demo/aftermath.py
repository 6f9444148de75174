"""What comes after a visit is submitted: its check by a coordinator, the trigger, the course of an incident."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

import numpy as np
from django.utils import timezone

from alerts.advice.levels import Question, advise, record_advice
from alerts.judging.records import site_record
from alerts.models import Incident
from alerts.queries import live_incidents, triggers_of, values_of
from alerts.services.incidents import acknowledge_incident, add_note, close_incident
from alerts.services.triggers import set_trigger
from portal.accounts.access import Person, allowed
from portal.demo import fauna
from portal.demo.replay import Replay
from portal.demo.settling import Settlement
from portal.demo.stories import DAY, HOUR, STORIES, UNPLANNED, Story
from scoring.baseline import PROVISIONAL_BELOW, describe
from surveys.models import Site, Visit
from surveys.models.visits import Status
from surveys.services.visits import approve_visit, correct_visit
from surveys.submission import parse_submission, submission_data

# Standard deviations, and the least distance below the mean, at which the invented groups set their triggers.
SPREADS, LEAST = 2.8, {"aspt": 0.5, "bmwp": 25.0}
# Visits of the last days still wait to be checked.
NEWS = 9 * DAY
READINGS_RIGHT = "The meter was held against its standard afterwards: right as recorded."


@dataclass
class Aftermath:
    """The coordinators' and the agency's part at one site; `reach` says what the site normally holds."""

    settlement: Settlement
    site: Site
    reach: str
    replay: Replay
    rng: np.random.Generator
    visits_before_trigger: int

    def plan_check(self, visit: Visit, *, soon: bool = False) -> None:
        """A coordinator looks at the visit within some days, the next morning where an alert is out."""
        lag = 14 * HOUR if soon else timedelta(days=int(self.rng.integers(1, 9)))
        now = timezone.now()
        # The latest visits are left for whoever tries the demo.
        if soon or now < self.replay.until - NEWS:
            self.replay.plan(now + lag, lambda: self._check(visit.pk))

    def answer(self, visit: Visit, story: str) -> None:
        """If the visit opened an incident, plan how it goes on."""
        incident = Incident.objects.of_group(visit.group).filter(visits=visit).first()
        if incident is None or incident.visits.count() > 1:
            return
        told = STORIES[story or UNPLANNED]
        now, number = timezone.now(), incident.pk
        if told.is_mistake:
            self.replay.plan(now + DAY, lambda: self._correct(visit.pk))
        if told.acknowledged_after:
            self.replay.plan(now + told.acknowledged_after, lambda: self._acknowledge(number))
            self.replay.plan(now + told.acknowledged_after + HOUR, lambda: self._note(number, told))
        if told.closed_after:
            self.replay.plan(now + told.closed_after, lambda: self._close(number, told))

    def _visit(self, number: UUID) -> Visit:
        return Visit.objects.of_group(self.settlement.group).select_related("site", "group").get(pk=number)

    def _incident(self, number: UUID) -> Incident:
        found = Incident.objects.of_group(self.settlement.group).select_related("site", "group")
        return found.get(pk=number)

    def _check(self, number: UUID) -> None:
        visit = self._visit(number)
        checker = self._who_may_approve(visit)
        if visit.status != Status.WAITING or checker is None:
            return
        approve_visit(person=checker, visit=visit, accept_findings_reason=READINGS_RIGHT)
        self._consider_trigger(checker)

    def _who_may_approve(self, visit: Visit) -> Person | None:
        coordinators = self.settlement.coordinators
        return next((each for each in coordinators if allowed(each, "visit.approve", visit)), None)

    def _consider_trigger(self, person: Person) -> None:
        """Set the first trigger once enough is known of the site, and look at it again after a year."""
        if self._days_since_trigger() < 365 or self._has_live_incident():
            return
        index = self.settlement.plan.index
        baseline = site_record(self.site, index).baseline()
        values = values_of(baseline)
        if len(values) < self.visits_before_trigger:
            return
        level = trigger_level(values, index)
        told = advise(self.site, Question(index=index, level=level), baseline)
        set_trigger(
            person=person,
            site=self.site,
            index=index,
            level=level,
            valid_from=timezone.localdate(),
            reason=f"From {len(values)} approved standard visits; agreed with the Vale Water Regulator.",
            despite_provisional=len(values) < PROVISIONAL_BELOW,
            advice=record_advice(told, was_on_screen=False),
        )

    def _has_live_incident(self) -> bool:
        return live_incidents(self.settlement.group).filter(site=self.site).exists()

    def _days_since_trigger(self) -> float:
        latest = triggers_of(self.site).order_by("valid_from").last()
        return (timezone.localdate() - latest.valid_from).days if latest else float("inf")

    def _acknowledge(self, number: UUID) -> None:
        incident = self._incident(number)
        # An alert held for the group's check has reached nobody yet.
        if incident.is_live and not incident.contacts_told:
            self.replay.plan(timezone.now() + DAY, lambda: self._acknowledge(number))
        elif incident.is_live:
            acknowledge_incident(incident=incident, contact=self.settlement.contacts[0])

    def _note(self, number: UUID, told: Story) -> None:
        incident = self._incident(number)
        if told.note and incident.acknowledged_at:
            reference = f"VW-{incident.year}-{100 + 7 * incident.number}"
            contact = self.settlement.contacts[0]
            add_note(incident=incident, note=told.note, reference=reference, contact=contact)

    def _close(self, number: UUID, told: Story) -> None:
        incident = self._incident(number)
        if incident.is_live:
            closer = self.settlement.coordinators[0]
            close_incident(incident=incident, outcome=told.outcome, note=told.outcome_note, person=closer)

    def _correct(self, number: UUID) -> None:
        """The tray was typed into the wrong lines: the counts as they stood on paper lift the score again."""
        visit = self._visit(number)
        data = submission_data(visit)
        counts = fauna.catch(self.rng, self.reach, visit.visited_on.month)
        data["counts"] = fauna.count_lines(counts, in_ranges=self.settlement.plan.counts_in_ranges)
        correct_visit(
            person=self.settlement.coordinators[1],
            visit=visit,
            submission=parse_submission(data),
            reason="The paper sheet shows other counts: the lines had slipped when they were typed.",
        )
        self.plan_check(visit, soon=True)


def trigger_level(values: list[float], index: str) -> float:
    """A level well below what the site normally holds."""
    usual = describe(values)
    assert usual is not None
    distance = max(SPREADS * (usual.sd or 0.0), LEAST[index])
    return round(usual.mean - distance, 1 if index == "aspt" else 0)
