"""Writes visits with their parts, scores, verdicts and trails, and judges them as the portal does."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field

from django.db import connection

from alerts.judging.verdicts import Facts, Judgement, weigh
from alerts.models import Verdict
from portal.audit.models import AuditEntry, RowChange
from portal.growing import effort, rows
from portal.growing.catches import NAMES, Counts
from portal.growing.drawing import Plan
from portal.growing.extent import numbers
from portal.growing.land import INDEX, Land
from portal.growing.rows import COLUMNS, Heads
from portal.growing.tables import NULL, Table
from scoring.baseline import PROVISIONAL_BELOW
from scoring.explained import Explained, explain_matrix
from surveys.lists.recording import reasons_of
from surveys.models import Finding, Measurement, SpotEffort, TaxonCount, Visit, VisitScore

LARGE = (Visit, SpotEffort, Measurement, TaxonCount, VisitScore, Finding, Verdict, AuditEntry, RowChange)


@dataclass(frozen=True)
class Judged:
    """A visit with the verdict on it."""

    plan: Plan
    judgement: Judgement


@dataclass
class Writer:
    """Writes rounds of visits, oldest first; `low` gathers those below their trigger."""

    land: Land
    low: list[Judged] = field(default_factory=list)
    written: int = 0

    def __post_init__(self) -> None:
        recording_list = self.land.sites[0].recording_list
        self.reasons = reasons_of(recording_list)
        self.tables = _tables(recording_list_id=recording_list.pk)

    def write(self, plans: Sequence[Plan], counts: Counts) -> None:
        """Write these visits with all that belongs to them."""
        explained = explain_matrix(NAMES, counts)
        judged = [
            Judged(plan, self._judge(plan, value))
            for plan, value in zip(plans, _values(explained[INDEX]), strict=True)
        ]
        self.low += [each for each in judged if each.judgement.outcome == Verdict.Outcome.BELOW]
        keys = numbers(self.land.extent.chance(10, self.written), 3 * len(plans))
        verdicts, entries = keys[: len(plans)], keys[len(plans) :]
        for name, heads in {
            "visit": rows.visit_rows(self.land, plans),
            "spot": rows.spot_rows(plans),
            "reading": rows.reading_rows(plans),
            "count": rows.count_rows(self.land, plans, counts),
            "score": rows.score_rows(plans, explained, self.reasons),
            "finding": self._findings(plans),
            "verdict": self._verdicts(judged, verdicts),
            "entry": rows.entry_rows(self.land, plans, entries, self.written),
            "change": rows.change_rows(plans, verdicts, self.written),
        }.items():
            self.tables[name].copy(heads)
        self.written += len(plans)

    def _judge(self, plan: Plan, value: float | None) -> Judgement:
        found = weigh(self._facts(plan, value))
        if self._is_sound(plan, value) and found.outcome != Verdict.Outcome.BELOW:
            self.land.sound[plan.site] += 1
        return found

    def _facts(self, plan: Plan, value: float | None) -> Facts:
        """As `alerts.judging.verdicts.facts_of` gathers them."""
        if not plan.was_made:
            return Facts(None, None, ("not_made",))
        trigger = self.land.triggers[plan.site]
        if plan.day < trigger.valid_from:
            return Facts(None, None, ("no_trigger",), plan.has_signs)
        reasons = ["no_score"] if value is None else []
        reasons += [f"effort.{code}" for code in effort.problems(is_off_plan=plan.is_off_plan)]
        reasons += ["spate"] if plan.is_spate else []
        reasons += ["provisional"] if self.land.sound[plan.site] < PROVISIONAL_BELOW else []
        return Facts(trigger, value, tuple(reasons), plan.has_signs)

    def _is_sound(self, plan: Plan, value: float | None) -> bool:
        return plan.was_made and plan.status == "approved" and not plan.is_off_plan and value is not None

    def _verdicts(self, judged: Sequence[Judged], keys: Sequence[str]) -> Heads:
        for key, each in zip(keys, judged, strict=True):
            plan, found = each.plan, each.judgement
            value = NULL if found.value is None else repr(found.value)
            trigger = found.trigger.pk if found.trigger else NULL
            group = self.land.group_ids[self.land.group_of(plan.site)]
            codes = f"{json.dumps(found.reasons)}\t{json.dumps(found.set_aside)}"
            told = f"{found.outcome}\t{trigger}\t{value}\t{codes}"
            yield f"{key}\t{group}\t{plan.id}\t{told}\t{rows.submitted_at(plan)}"

    def _findings(self, plans: Sequence[Plan]) -> Heads:
        off = [each for each in plans if each.is_off_plan]
        told = effort.remarks()
        keys = iter(numbers(self.land.extent.chance(11, self.written), len(off) * len(told)))
        for plan in off:
            reviewer = self.land.person_ids[self.land.group_of(plan.site)][plan.reviewer]
            decided = f"accepted\t{reviewer}\t{rows.reviewed_at(plan)}\tRight as recorded."
            for at, message in told:
                end = decided if plan.status == "approved" else f"\t{NULL}\t{NULL}\t"
                yield f"{next(keys)}\t{plan.id}\t{at}\t{message}\t{end}"


def _values(scores: Explained) -> list[float | None]:
    return [
        None if why_none else value
        for value, why_none in zip(scores.values.tolist(), scores.why_none, strict=True)
    ]


def _tables(recording_list_id: object) -> dict[str, Table]:
    made = {
        "visit": (Visit, {"recording_list_id": recording_list_id}),
        "spot": (SpotEffort, {}),
        "reading": (Measurement, {}),
        "count": (TaxonCount, {}),
        "score": (VisitScore, {}),
        "finding": (Finding, {"rule": effort.RULE}),
        "verdict": (Verdict, {}),
        "entry": (AuditEntry, {"object_type": Visit._meta.label_lower}),
        "change": (RowChange, {"database_user": connection.settings_dict["USER"]}),
    }
    return {name: Table(model, *COLUMNS[name], **same) for name, (model, same) in made.items()}  # type: ignore[arg-type]
