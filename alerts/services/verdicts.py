"""Writing verdicts, and testing a visit all the same."""

from __future__ import annotations

from collections.abc import Sequence

from django.core.exceptions import ValidationError
from django.db import DEFAULT_DB_ALIAS, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from alerts.judging.verdicts import are_excusable, judge
from alerts.models import Verdict
from alerts.services.repeat_course import follow_repeats
from alerts.services.response import respond_to_verdict
from portal.accounts.access import Person, require
from portal.audit.services import record_change
from portal.inserting import insert_rows
from surveys.models import Visit
from surveys.services.review import locked
from surveys.signals import JustTaken

_COLUMNS = tuple(str(each.column) for each in Verdict._meta.concrete_fields)


def judge_visit(*, visit: Visit, event: str, person: Person | None, taken: JustTaken | None = None) -> Verdict:
    """Write the verdict on a visit and answer it; inside the transaction that changes the visit.

    `taken` comes with a visit that is new in this very transaction.
    """
    verdict = record_verdict(visit=visit, person=person, taken=taken)
    # A past record never opens anything, so a spreadsheet of thousands takes no locks.
    if not visit.is_past_record:
        is_new = taken is not None
        respond_to_verdict(visit=visit, verdict=verdict, event=event, person=person, is_new=is_new)
        follow_repeats(visit=visit, verdict=verdict, person=person)
    return verdict


def judge_imported(*, visits: Sequence[Visit], person: Person | None) -> None:
    """The same of visits that were loaded together; what is past is judged for the record and opens nothing."""
    past = [each for each in visits if each.is_past_record]
    _insert([_weighed(Verdict(group=each.group, visit=each), each) for each in past])
    for each in visits:
        if not each.is_past_record:
            judge_visit(visit=each, event="imported", person=person)


def record_verdict(*, visit: Visit, person: Person | None, taken: JustTaken | None = None) -> Verdict:
    """Judge the visit and keep the verdict; one that differs from the last leaves an audit row."""
    if taken:
        # Nobody can have judged it before.
        new = _weighed(Verdict(group=visit.group, visit=visit), visit, taken)
        _insert([new])
        return new
    known = Verdict.objects.filter(group=visit.group_id, visit=visit).first()
    before = known.outcome if known else None
    verdict = _weighed(known or Verdict(group=visit.group, visit=visit), visit)
    verdict.save()
    if before not in (None, verdict.outcome):
        changes = {"outcome": [before, verdict.outcome]}
        record_change(actor=person, verb="verdict.changed", thing=verdict, changes=changes)
    return verdict


def _weighed(verdict: Verdict, visit: Visit, taken: JustTaken | None = None) -> Verdict:
    judgement = judge(visit, tested_anyway=verdict.tested_anyway_by_id is not None, taken=taken)
    verdict.outcome, verdict.trigger = judgement.outcome, judgement.trigger
    verdict.value = judgement.value
    verdict.reasons, verdict.set_aside = list(judgement.reasons), list(judgement.set_aside)
    verdict.decided_at = timezone.now()
    return verdict


def _insert(verdicts: Sequence[Verdict]) -> None:
    insert_rows(Verdict, _COLUMNS, [[getattr(each, name) for name in _COLUMNS] for each in verdicts])
    for each in verdicts:
        each._state.adding, each._state.db = False, DEFAULT_DB_ALIAS


@transaction.atomic
def test_visit_anyway(*, person: Person, visit: Visit, reason: str) -> Verdict:
    """Hold a visit against the trigger although its effort, a spate or a thin baseline speaks against it.

    Raises ValidationError where a reason is missing or nothing can be tested.
    """
    # As everybody who judges a visit that is there: of two, the second starts from what the first one wrote.
    visit = locked(visit)
    require(person, "visit.test_anyway", visit)
    verdict = Verdict.objects.filter(group=visit.group_id, visit=visit).select_for_update().get()
    _check(verdict, reason)
    verdict.tested_anyway_by_id, verdict.tested_anyway_reason = person.user_id, reason.strip()
    verdict.save()
    record_change(actor=person, verb="verdict.tested_anyway", thing=verdict, reason=reason.strip())
    return judge_visit(visit=visit, event="tested_anyway", person=person)


def _check(verdict: Verdict, reason: str) -> None:
    if not reason.strip():
        raise ValidationError({"reason": _("Say why the score can be compared all the same.")})
    if not can_test_anyway(verdict):
        raise ValidationError(_("This visit cannot be tested: see the reasons given with it."))


def can_test_anyway(verdict: Verdict) -> bool:
    """Whether only excusable reasons keep the visit from being tested."""
    return verdict.outcome == Verdict.Outcome.NOT_TESTED and are_excusable(verdict.reasons)
