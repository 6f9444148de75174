"""Approving the visits of a sheet at once: by somebody who neither loaded them nor took part in them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from uuid import UUID

from django.db import transaction

from portal.accounts.access import Person, allowed, require
from surveys.importing.queries import waiting_visits
from surveys.models import ImportRun, Visit
from surveys.services.review import approve_visit, why_not_as_shown

AS_LOADED = 0
ALL_AS_LOADED: Mapping[UUID, int | None] = MappingProxyType({})


@dataclass(frozen=True)
class Approved:
    """How many visits of a run were approved, and how many still wait because this person took part in them.

    `changed` still wait because they are not as the person was shown them, each with that reason in words.
    """

    approved: int
    left: int
    changed: list[tuple[Visit, str]]


@transaction.atomic
def approve_run(
    *,
    person: Person,
    run: ImportRun,
    accept_findings_reason: str = "",
    seen: Mapping[UUID, int | None] = ALL_AS_LOADED,
) -> Approved:
    """Approve the waiting visits of a run that this person took no part in, neither on the bank nor in loading.

    `seen` are the revisions that the person was shown of visits that had been changed by then; all others were
    shown as the sheet brought them. What was changed since is left. Raises NotPossible, and approves nothing,
    when findings are open and no reason is given for accepting them.
    """
    require(person, "visit.review", run)
    # Locked in one order, so that two approvers wait for each other; the second finds nothing waiting any more.
    rows = waiting_visits(run).select_related("site")
    visits = list(rows.select_for_update(of=("self",), no_key=True).order_by("id"))
    free = [visit for visit in visits if allowed(person, "visit.approve", visit)]
    reasons = [(visit, why_not_as_shown(visit, seen.get(visit.pk, AS_LOADED))) for visit in free]
    as_shown = [visit for visit, reason in reasons if not reason]
    for visit in as_shown:
        approve_visit(person=person, visit=visit, accept_findings_reason=accept_findings_reason)
    changed = [(visit, reason) for visit, reason in reasons if reason]
    return Approved(approved=len(as_shown), left=len(visits) - len(free), changed=changed)
