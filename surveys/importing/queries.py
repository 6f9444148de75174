"""Reading the sheets of a group and what became of their visits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, Q

from portal.accounts.access import Person, allowed
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Finding, ImportRun, Visit
from surveys.models.visits import Status

RUNS_SHOWN = 20


@dataclass(frozen=True)
class RunState:
    """How many visits of a run wait (and how many of those one may approve), how many are approved or returned.

    `findings` counts what is still to be looked at in those one may approve; `changed` are those of them that
    are not as the sheet brought them.
    """

    waiting: int
    approvable: int
    approved: int
    returned: int
    findings: int
    changed: list[Visit]


def loaded_runs(group: Group) -> Sequence[ImportRun]:
    """The sheets loaded last, newest first, each with the number of its visits that wait."""
    waiting = Count("visits", filter=Q(visits__status=Status.WAITING))
    found = ImportRun.objects.of_group(group).filter(loaded_at__isnull=False).select_related("started_by")
    return list(found.annotate(waiting=waiting).order_by("-loaded_at")[:RUNS_SHOWN])


def waiting_sheets(group: Group) -> Sequence[ImportRun]:
    """Loaded sheets with visits that wait, each with their number, the oldest first."""
    waiting = Count("visits", filter=Q(visits__status=Status.WAITING))
    found = ImportRun.objects.of_group(group).filter(loaded_at__isnull=False, undone_at=None)
    return list(found.annotate(waiting=waiting).filter(waiting__gt=0).order_by("loaded_at")[:RUNS_SHOWN])


def kept_sheets(group: Group) -> Sequence[ImportRun]:
    """Sheets that were sent and not loaded yet, newest first, as far as their files are kept."""
    found = ImportRun.objects.of_group(group).filter(loaded_at=None).exclude(file="")
    return list(found.select_related("started_by").order_by("-created_at")[:RUNS_SHOWN])


def waiting_visits(run: ImportRun) -> GroupOwnedQuerySet[Visit]:
    """The visits of a run that wait to be checked."""
    found = Visit.objects.of_group(run.group).filter(import_run=run, status=Status.WAITING)
    return found.prefetch_related("corrected_by")


def run_state(person: Person, run: ImportRun) -> RunState:
    """Where the visits of a run stand, as this person sees it."""
    visits = Visit.objects.of_group(run.group).filter(import_run=run)
    stands = dict(visits.order_by().values_list("status").annotate(Count("id")))
    mine = [each for each in waiting_visits(run) if allowed(person, "visit.approve", each)]
    findings = Finding.objects.of_group(run.group).filter(visit__in=mine, decision=Finding.Decision.OPEN)
    return RunState(
        waiting=stands.get(Status.WAITING, 0),
        approvable=len(mine),
        approved=stands.get(Status.APPROVED, 0),
        returned=stands.get(Status.RETURNED, 0),
        findings=findings.count(),
        changed=[each for each in mine if each.revision],
    )
