"""Findings of a visit: written with it, renewed by each revision, decided by a coordinator."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from uuid import UUID, uuid4

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.audit.services import record_change
from portal.inserting import Gathered, insert_rows
from surveys.errors import NotPossible, need_text
from surveys.models import Finding, Visit
from surveys.models.visits import Status
from surveys.submission.types import Problem

Decision = Finding.Decision


def write_findings(found: Iterable[tuple[Visit, Iterable[Problem]]], into: Gathered | None = None) -> None:
    """Write what the rules found unusual; `into` as for `insert_rows`."""
    rows = [
        (uuid4(), visit.pk, each.rule, each.field, each.message)
        for visit, problems in found
        for each in problems
    ]
    insert_rows(Finding, ("id", "visit_id", "rule", "field", "message"), rows, into)


def renew_findings(visit: Visit, problems: Iterable[Problem], person: Person, reason: str) -> None:
    """After a revision: what is still unusual keeps its decision, what is no more counts as mended."""
    found = {(each.rule, each.field, each.message): each for each in problems}
    # By message too: the same rule at the same field with another value is another question.
    kept = {(row.rule, row.field, row.message): row for row in visit.findings.all()}
    gone = [row.pk for key, row in kept.items() if key not in found and row.decision == Decision.OPEN]
    _decide(visit, person, gone, Decision.MENDED, reason)
    write_findings([(visit, [each for key, each in found.items() if key not in kept])])


def accept_open_findings(visit: Visit, person: Person, reason: str) -> None:
    """Accept everything still open, with one reason for all; raises NotPossible when that reason is missing."""
    still_open = [row.pk for row in visit.findings.filter(decision=Decision.OPEN)]
    if still_open:
        why = need_text(
            reason,
            "accept_findings_reason",
            _("Decide on each finding first, or give one reason why all of them are right as recorded."),
        )
        _decide(visit, person, still_open, Decision.ACCEPTED, why)


def _decide(visit: Visit, person: Person, findings: Collection[UUID], decision: str, reason: str) -> None:
    if findings:
        visit.findings.filter(pk__in=findings).update(
            decision=decision, decided_by=person.user_id, decided_at=timezone.now(), decision_reason=reason
        )


@transaction.atomic
def decide_finding(*, person: Person, finding: Finding, decision: str, reason: str) -> Finding:
    """Decide on one finding of a waiting visit; like approving, it is not for people involved in the visit."""
    visit = Visit.objects.filter(group=finding.visit.group_id).select_for_update().get(pk=finding.visit_id)
    # Overriding a finding is part of approving, so the same people are kept from it.
    require(person, "visit.approve", visit)
    if visit.status != Status.WAITING:
        raise NotPossible(_("Findings are decided while the visit waits to be checked."))
    if decision not in (Decision.ACCEPTED, Decision.MENDED):
        raise NotPossible(_("Choose what you decide."), "decision")
    why = need_text(reason, "reason", _("Say why."))
    # Somebody else may have decided since it was read, and the trail tells what it was before.
    finding.refresh_from_db(fields=["decision"])
    _decide(visit, person, [finding.pk], decision, why)
    changes = {finding.field: [finding.decision, decision]}
    record_change(actor=person, verb="finding.decided", thing=visit, changes=changes, reason=why)
    finding.refresh_from_db()
    return finding
