"""Writing verdicts, and testing a visit all the same."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from alerts.models import Verdict
from alerts.services.repeat_course import follow_repeats
from alerts.services.response import respond_to_verdict
from alerts.verdicts import are_excusable, judge
from portal.accounts.access import Person, require
from portal.audit.services import record_change
from surveys.models import Visit


def judge_visit(*, visit: Visit, event: str, person: Person | None) -> Verdict:
    """Write the verdict on a visit and answer it; inside the transaction that changes the visit."""
    verdict = record_verdict(visit=visit, person=person)
    # A past record never opens anything, so a spreadsheet of thousands takes no locks.
    if not visit.is_past_record:
        respond_to_verdict(visit=visit, verdict=verdict, event=event, person=person)
        follow_repeats(visit=visit, verdict=verdict, person=person)
    return verdict


def record_verdict(*, visit: Visit, person: Person | None) -> Verdict:
    """Judge the visit and keep the verdict; one that differs from the last leaves an audit row."""
    verdict = Verdict.objects.filter(group=visit.group_id, visit=visit).first()
    before = verdict.outcome if verdict else None
    verdict = verdict or Verdict(group=visit.group, visit=visit)
    judgement = judge(visit, tested_anyway=verdict.tested_anyway_by_id is not None)
    verdict.outcome, verdict.trigger = judgement.outcome, judgement.trigger
    verdict.value = judgement.value
    verdict.reasons, verdict.set_aside = list(judgement.reasons), list(judgement.set_aside)
    verdict.decided_at = timezone.now()
    verdict.save()
    if before not in (None, verdict.outcome):
        changes = {"outcome": [before, verdict.outcome]}
        record_change(actor=person, verb="verdict.changed", thing=verdict, changes=changes)
    return verdict


@transaction.atomic
def test_visit_anyway(*, person: Person, visit: Visit, reason: str) -> Verdict:
    """Hold a visit against the trigger although its effort, a spate or a thin baseline speaks against it.

    Raises ValidationError where a reason is missing or nothing can be tested.
    """
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
