"""What goes by itself: one function for each kind, a bounded batch at a time, harmless when it is run again."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q, QuerySet

from portal.accounts.models import Group, Invitation, Membership
from portal.accounts.signing_in.sessions import clear_ended_sessions
from portal.outbox.models import Attempt, Message, State
from portal.tokens.answers import KEPT as ANSWERS_KEPT
from portal.tokens.models import KeptAnswer
from surveys.models import Draft, Photo, SafeReturn
from surveys.models.returns import ReturnEvent, ReturnNotice
from surveys.rota.models import Availability
from surveys.services.photos import forget_photos

# So many rows of a group in one transaction.
BATCH = 500
# Days, of our own choice: the law of the place and a group's own duties come first.
RETURN_DAYS, MAIL_DAYS, DRAFT_DAYS, INVITATION_DAYS, AVAILABILITY_DAYS = 30, 90, 180, 30, 30
CONTACTS = {
    "phone": "",
    "car": "",
    "partner_name": "",
    "named_name": "",
    "named_email": "",
    "ended_by_name": "",
}
BARE: dict[str, Any] = {
    "to_address": "",
    "to_name": "",
    "reply_to": "",
    "unsubscribe_url": "",
    "subject": "",
    "text": "",
    "html": "",
    "picture_args": {},
}


def empty_safe_returns(group: Group, now: datetime, days: int) -> int:
    """Who went, where and when stays; telephone, car, the named person and who was written to go."""
    over = SafeReturn.objects.of_group(group).filter(ended_at__lt=now - timedelta(days=days))
    numbers = _first(over.exclude(**CONTACTS), over.filter(notices__isnull=False))
    ReturnNotice.objects.of_group(group).filter(safe_return__in=numbers).delete()
    ReturnEvent.objects.of_group(group).filter(safe_return__in=numbers).update(actor_name="", note="")
    return SafeReturn.objects.of_group(group).filter(pk__in=numbers).update(**CONTACTS)


def empty_mails(group: Group, now: datetime, days: int) -> int:
    """That a mail was sent, when and what about stays; address, words and the server's answers go."""
    old = (
        Message.objects.of_group(group)
        .exclude(state=State.OWED)
        .filter(created_at__lt=now - timedelta(days=days))
    )
    numbers = _first(old.exclude(to_address=""))
    return _empty(numbers)


def empty_mails_of_no_group(now: datetime) -> int:
    """The same for mails of the portal itself, such as those about a new password."""
    rows = Message.objects.across_groups("the portal's own mails belong to no group").filter(group=None)
    old = rows.exclude(state=State.OWED).filter(created_at__lt=now - timedelta(days=MAIL_DAYS))
    return _empty(_first(old.exclude(to_address="")))


def _empty(numbers: list[Any]) -> int:
    why = "the numbers were read of one group"
    Attempt.objects.across_groups(why).filter(message__in=numbers).update(answer="")
    rows = Message.objects.across_groups(why).filter(pk__in=numbers)
    # What could not be delivered then must not be tried again without an address.
    rows.filter(state=State.FAILED).update(state=State.CANCELLED)
    return rows.update(**BARE)


def erase_drafts(group: Group, now: datetime, days: int) -> int:
    """A visit that nobody went on typing goes, with its pictures."""
    old = Draft.objects.of_group(group).filter(updated_at__lt=now - timedelta(days=days))
    numbers = _first(old)
    forget_photos(Photo.objects.of_group(group).filter(visit_number__in=numbers))
    Draft.objects.of_group(group).filter(pk__in=numbers).delete()
    return len(numbers)


def empty_invitations(group: Group, now: datetime, days: int) -> int:
    """The address goes from invitations that were used, taken back or ran out."""
    then = now - timedelta(days=days)
    over = Q(accepted_at__lt=then) | Q(revoked_at__lt=then) | Q(expires_at__lt=then)
    numbers = _first(Invitation.objects.of_group(group).filter(over).exclude(email=""))
    return Invitation.objects.of_group(group).filter(pk__in=numbers).update(email="")


def erase_availability(group: Group, now: datetime, days: int) -> int:
    """When and from where somebody could go means nothing once they have left."""
    gone = Membership.objects.of_group(group).filter(left_at__lt=now - timedelta(days=days))
    numbers = _first(Availability.objects.of_group(group).filter(user__in=gone.values("user")))
    Availability.objects.of_group(group).filter(pk__in=numbers).delete()
    return len(numbers)


def clear_sessions(now: datetime) -> int:
    """Sign-ins that have run out, and from where and with what they were made."""
    return clear_ended_sessions(now)


def clear_answers(now: datetime) -> int:
    """Answers that were kept so that a program's request sent twice is done once."""
    return KeptAnswer.objects.filter(kept_at__lt=now - ANSWERS_KEPT).delete()[0]


def _first(*rows: QuerySet[Any]) -> list[Any]:
    """The numbers of so many of these rows as one batch takes."""
    found: dict[Any, None] = {}
    for each in rows:
        numbers: Iterable[Any] = each.order_by("pk").values_list("pk", flat=True)[:BATCH]
        found.update(dict.fromkeys(numbers))
    return list(found)[:BATCH]
