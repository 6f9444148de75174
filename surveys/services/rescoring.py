"""A run that scores a group's visits anew: ordered, worked off in batches, stopped."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from uuid import UUID

from celery import current_app
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from kombu.exceptions import OperationalError

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.audit.services import record_change
from surveys.models import RescoreRun
from surveys.rescoring import rescore_visits, visits_to_rescore
from surveys.services.errors import NotPossible, need_text

log = logging.getLogger(__name__)
State = RescoreRun.State
LEASE = timedelta(minutes=5)
# Small enough to finish far within the lease and to hold its locks for a moment only.
BATCH = 1_000
# A run that kills its worker every time must not keep it from all other work.
MOST_ATTEMPTS = 5
# A visit that could never be brought up to date must not keep a run going for ever.
MOST_ROUNDS = 3
TASK = "surveys.tasks.run_rescoring"


@transaction.atomic
def request_rescoring(*, person: Person | None, group: Group, reason: str) -> RescoreRun:
    """Order a run, or get the one that is under way. `person` None is the portal's operator at a command."""
    if person is not None:
        require(person, "visit.rescore", group)
    why = need_text(reason, "reason", _("Say why: it stays in the group's records."))
    # Two coordinators asking at once get one run: they queue for the group's row. Without NO KEY the lock would
    # clash with the foreign keys of visits that are sent in just now, and deadlock.
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)
    live = RescoreRun.objects.of_group(group).filter(state__in=RescoreRun.LIVE).first()
    if live:
        return live
    run = RescoreRun.objects.create(
        group=group,
        started_by_id=person.user_id if person else None,
        reason=why,
        total=visits_to_rescore(group).count(),
    )
    record_change(actor=person, verb="rescoring.requested", thing=run, reason=why)
    transaction.on_commit(lambda: _nudge(run.pk))
    return run


@transaction.atomic
def stop_rescoring(*, person: Person, run: RescoreRun) -> None:
    """Stop a run after its present batch; what is scored stays. Raises NotPossible when it is over."""
    require(person, "visit.rescore", run)
    found = RescoreRun.objects.of_group(run.group).filter(pk=run.pk, state__in=RescoreRun.LIVE)
    if not found.update(state=State.STOPPED, claimed_until=None):
        raise NotPossible(_("It is over already."))
    record_change(actor=person, verb="rescoring.stopped", thing=run)


def work_off(run_id: UUID) -> None:
    """Work a run off unless somebody else is at it; a run that was broken off goes on where it stood."""
    run = _claim(run_id)
    if run is None:
        return
    for batch in _batches(run.group):
        with transaction.atomic():
            # In the batch's own transaction: progress and scores stand or fall together.
            if not _renew(run, len(batch)):
                log.info("Rescoring %s was stopped or taken over; this job ends.", run_id)
                return
            rescore_visits(person=None, group=run.group, visits=batch)
    _finish(run)


def _batches(group: Group) -> Iterator[Sequence[UUID]]:
    """Numbers of visits that need it, by 1,000, in rounds: more may come to need it behind a run's back."""
    for _round in range(MOST_ROUNDS):
        last: UUID | None = None
        while batch := _next_batch(group, last):
            yield batch
            last = batch[-1]
        if last is None:
            return


def _next_batch(group: Group, last: UUID | None) -> list[UUID]:
    waiting = visits_to_rescore(group)
    rest = waiting.filter(pk__gt=last) if last else waiting
    return list(rest.values_list("pk", flat=True)[:BATCH])


@transaction.atomic
def _claim(run_id: UUID) -> RescoreRun | None:
    runs = RescoreRun.objects.across_groups("a job is given the run's number only").select_related("group")
    run = (
        runs.select_for_update(skip_locked=True, of=("self",)).filter(_free(timezone.now()), pk=run_id).first()
    )
    if run is None:
        return None
    run.attempts += 1
    run.state = State.RUNNING if run.attempts <= MOST_ATTEMPTS else State.FAILED
    run.claimed_until = timezone.now() + LEASE
    # What is left is counted again: visits may have come or been scored since.
    run.total = run.done + visits_to_rescore(run.group).count()
    run.save()
    return run if run.state == State.RUNNING else None


def _free(now: datetime) -> Q:
    return Q(state=State.QUEUED) | Q(state=State.RUNNING, claimed_until__lt=now)


def _mine(run: RescoreRun) -> GroupOwnedQuerySet[RescoreRun]:
    # The end of the claim tells one holder from the next.
    found = RescoreRun.objects.of_group(run.group)
    return found.filter(pk=run.pk, state=State.RUNNING, claimed_until=run.claimed_until)


def _renew(run: RescoreRun, visits: int) -> bool:
    until, done = timezone.now() + LEASE, run.done + visits
    if not _mine(run).update(claimed_until=until, done=done, total=max(run.total, done)):
        return False
    run.claimed_until, run.done = until, done
    return True


@transaction.atomic
def _finish(run: RescoreRun) -> None:
    if _mine(run).update(state=State.DONE, total=run.done, claimed_until=None):
        record_change(actor=None, verb="rescoring.done", thing=run, changes={"done": [0, run.done]})


def stalled_runs(now: datetime) -> list[UUID]:
    """Runs whose job was missed or died."""
    runs = RescoreRun.objects.across_groups("the sweep resumes every group's runs")
    missed = Q(state=State.QUEUED, created_at__lt=now - timedelta(seconds=5))
    died = Q(state=State.RUNNING, claimed_until__lt=now)
    return list(runs.filter(missed | died).order_by("created_at").values_list("pk", flat=True))


def _nudge(run_id: UUID) -> None:
    # A dead broker may take seconds to be found dead, and the page must not wait for that.
    threading.Thread(target=_tell_workers, args=[run_id], name="rescore-nudge", daemon=True).start()


def _tell_workers(run_id: UUID) -> None:
    """Send the job; without a broker the next sweep finds the run all the same."""
    try:
        current_app.send_task(TASK, args=[str(run_id)])
    except OperationalError:
        log.warning("No broker to tell of rescoring %s; the sweep will take it up.", run_id)
