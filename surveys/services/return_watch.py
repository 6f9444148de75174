"""What the clock asks of safe returns: reminders to the pair, then the coordinators, then the named person.

All state stands in the rows: a sweep that comes late, after the worker or the portal was down, does at once all
that is due by then and says in every message how late it is. The pair is reminded once for the two reminders
that would otherwise come together. The others are told without delay, though the pair may only have been unable
to answer: a needless call does less harm than a missing one.
"""

from __future__ import annotations

import logging
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from portal.accounts.languages import speaking_to
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import wide, within
from portal.audit.services import record_change
from portal.outbox.models import Message
from surveys.models import SafeReturn
from surveys.models.returns import ReturnEventKind, Step
from surveys.outings.mail import (
    NAMED_AT_START,
    OVERDUE,
    coordinators_for,
    named_of,
    tell_overdue,
    tell_pair,
    tell_undelivered,
)
from surveys.outings.returns import minutes_late
from surveys.services.safe_returns import add_event

logger = logging.getLogger(__name__)

STEPS = (Step.REMINDED, Step.AGAIN, Step.COORDINATORS, Step.NAMED)
# A sweep comes every 30 s; what is later than this had a reason that its reader should know.
LATE_MINUTES = 5


@wide("the clock runs for every group")
def watch_returns() -> int:
    """Take the steps that are due; return for how many returns.

    Trouble with one leaves the others alone; RuntimeError tells of it at the end, the next sweep tries again.
    """
    now = timezone.now()
    due = _returns().filter(ended_at=None, next_step_at__lte=now)
    numbers, handled, failed = list(due.values_list("pk", flat=True)), 0, 0
    for number in numbers:
        try:
            handled += _watch_one(due, number, now)
        except Exception:
            logger.exception("The safe return %s could not be watched.", number)
            failed += 1
    if failed:
        raise RuntimeError(f"{failed} of {len(numbers)} safe returns could not be watched.")
    return handled


def _returns() -> GroupOwnedQuerySet[SafeReturn]:
    found = SafeReturn.objects.across_groups("the clock runs for every group")
    return found.select_related("group", "site", "started_by", "partner").order_by("expected_at")


@transaction.atomic
def _watch_one(due: GroupOwnedQuerySet[SafeReturn], number: UUID, now: datetime) -> bool:
    # Asked again under the lock: it may have been ended, or another sweep may have been here.
    rows = due.filter(pk=number).select_for_update(of=("self",), skip_locked=True)
    safe_return = rows.first()
    if safe_return is not None:
        with within(safe_return.group_id):
            take_steps(safe_return, now)
    return safe_return is not None


def take_steps(safe_return: SafeReturn, now: datetime) -> None:
    """Take every step due by now that was not taken; the caller holds the row."""
    due = [step for step in STEPS if step > safe_return.step and safe_return.due_at(step) <= now]
    for step in due:
        if not (step == Step.REMINDED and Step.AGAIN in due):
            _take(safe_return, step, minutes_late(safe_return.due_at(step), now))
    before = safe_return.step
    safe_return.step = due[-1]
    following = [step for step in STEPS if step > safe_return.step]
    safe_return.next_step_at = safe_return.due_at(following[0]) if following else None
    safe_return.save(update_fields=["step", "next_step_at"])
    changes = {"step": [before, int(safe_return.step)]}
    record_change(actor=None, verb="safe_return.overdue", thing=safe_return, changes=changes)


def _take(safe_return: SafeReturn, step: Step, minutes: int) -> None:
    late = minutes if minutes >= LATE_MINUTES else 0
    if step in (Step.REMINDED, Step.AGAIN):
        tell_pair(safe_return, step, late)
        is_told = True
    else:
        others = [named_of(safe_return)] if step == Step.NAMED else coordinators_for(safe_return)
        is_told = tell_overdue(safe_return, step, others, late) > 0
    # Everybody reads the course, so it is kept in the group's language.
    with speaking_to(group=safe_return.group):
        notes = [late_words(late)] if late else []
        if not is_told:
            notes.append(_("There is no coordinator who stayed on shore."))
    add_event(safe_return, ReturnEventKind(step.name.lower()), note=" ".join(notes))


def late_words(minutes: int) -> str:
    """Say how late something was done."""
    words = ngettext(
        "%(minutes)s minute late: the portal did not run in the meantime.",
        "%(minutes)s minutes late: the portal did not run in the meantime.",
        minutes,
    )
    return words % {"minutes": minutes}


def on_return_message_failed(message: Message, answer: str) -> None:
    """A mail about a safe return cannot be delivered: it is noted, and told on where somebody can act."""
    if message.about_type != SafeReturn._meta.label_lower or message.about_id is None:
        return
    safe_return = _returns().select_for_update(of=("self",)).get(pk__in=[message.about_id])
    note = f"{message.to_name} <{message.to_address}>: {answer}"
    add_event(safe_return, ReturnEventKind.UNDELIVERABLE, note=note)
    is_to_named = message.to_address == safe_return.named_email and message.kind in (NAMED_AT_START, OVERDUE)
    if safe_return.is_live and is_to_named:
        tell_undelivered(safe_return, message)
