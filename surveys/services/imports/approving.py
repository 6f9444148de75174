"""Approving the visits of a sheet at once: by somebody who neither loaded them nor took part in them."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction

from portal.accounts.access import Person, allowed, require
from surveys.importing.queries import waiting_visits
from surveys.models import ImportRun
from surveys.services.review import approve_visit


@dataclass(frozen=True)
class Approved:
    """How many visits of a run were approved, and how many still wait because this person took part in them."""

    approved: int
    left: int


@transaction.atomic
def approve_run(*, person: Person, run: ImportRun, accept_findings_reason: str = "") -> Approved:
    """Approve the waiting visits of a run that this person took no part in, neither on the bank nor in loading.

    Raises NotPossible, and approves nothing, when findings are open and no reason is given for accepting them.
    """
    require(person, "visit.review", run)
    # Locked in one order, so that two approvers wait for each other; the second finds nothing waiting any more.
    visits = list(waiting_visits(run).select_for_update().order_by("id"))
    free = [visit for visit in visits if allowed(person, "visit.approve", visit)]
    for visit in free:
        approve_visit(person=person, visit=visit, accept_findings_reason=accept_findings_reason)
    return Approved(approved=len(free), left=len(visits) - len(free))
