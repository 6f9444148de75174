"""What the e-mails of a safe return say, and to whom they are owed, in the caller's transaction."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from portal.accounts.languages import speaking_to
from portal.accounts.models import Role, User
from portal.accounts.queries import members_of
from portal.outbox.models import Message
from portal.outbox.rendering import render_mail
from portal.outbox.services import owe_message
from surveys.models import ReturnNotice, SafeReturn
from surveys.models.returns import Ending, Step
from surveys.outings.returns import return_url
from surveys.outings.rules import rules_of
from surveys.places.sites import place_of

# What the mail is about; a failed one is told on by this.
PAIR, OVERDUE, NAMED_AT_START, NOTE = "return.pair", "return.overdue", "return.named", "return.note"
PAIR_HEADLINES = {
    Step.NONE: gettext_lazy("Your safe return has begun"),
    Step.REMINDED: gettext_lazy("Are you back?"),
    Step.AGAIN: gettext_lazy("Are you back? Soon others are told"),
}


@dataclass(frozen=True)
class Reader:
    """Somebody with an address, and the language of their account; else the group's is spoken."""

    name: str
    email: str
    language: str = ""

    def spoken_to(self, safe_return: SafeReturn) -> AbstractContextManager[None]:
        """All texts made inside are in the reader's language."""
        return speaking_to(group=safe_return.group, own=self.language)


@dataclass(frozen=True)
class Words:
    """What a note says, in the language of its reader."""

    headline: str
    lines: list[str]


def pair_of(safe_return: SafeReturn) -> list[Reader]:
    """Those who went and have an address here."""
    people = [each for each in (safe_return.started_by, safe_return.partner) if each and each.is_active]
    return [_reader(each) for each in people]


def coordinators_for(safe_return: SafeReturn) -> list[Reader]:
    """The group's coordinators but for those who are out themselves."""
    members = members_of(safe_return.group).filter(role=Role.COORDINATOR)
    users: list[User] = [each.user for each in members if each.user_id not in safe_return.pair_ids]
    return [_reader(each) for each in users]


def _reader(user: User) -> Reader:
    return Reader(user.name, user.email, user.language)


def named_of(safe_return: SafeReturn) -> Reader:
    """The person they named, a member or not."""
    member = safe_return.named_user
    return Reader(safe_return.named_name, safe_return.named_email, member.language if member else "")


def clock(moment: Any) -> str:
    """A time as it is read in a mail: "3 May, 14:30"."""
    return date_format(timezone.localtime(moment), "j F, H:i")


def tell_pair(safe_return: SafeReturn, step: Step, late: int = 0) -> None:
    """Remind those who went; at the start, say how the outing is ended."""
    for reader in pair_of(safe_return):
        notice = _notice(safe_return, step, reader, is_of_pair=True)
        with reader.spoken_to(safe_return):
            context = _context(safe_return, reader, late) | {
                "headline": PAIR_HEADLINES[step],
                "step": step.name.lower(),
                "url": return_url(notice),
                "next_at": safe_return.due_at(Step.COORDINATORS),
                "others_told": safe_return.due_at(Step.COORDINATORS) <= timezone.now(),
            }
            _owe(safe_return, PAIR, f"return-notice:{notice.pk}", "return_pair", context)


def tell_overdue(safe_return: SafeReturn, step: Step, readers: Iterable[Reader], late: int = 0) -> int:
    """Tell others that the pair is overdue, with all that helps to find them; return how many were told."""
    told = 0
    for reader in readers:
        notice = _notice(safe_return, step, reader, is_of_pair=False)
        with reader.spoken_to(safe_return):
            context = _context(safe_return, reader, late) | {
                "headline": _("Overdue: %(name)s") % {"name": safe_return.started_by.name},
                "is_named": step == Step.NAMED,
                "url": return_url(notice),
            }
            _owe(safe_return, OVERDUE, f"return-notice:{notice.pk}", "return_overdue", context)
        told += 1
    return told


def tell_named_at_start(safe_return: SafeReturn) -> None:
    """Let the named person know beforehand what such a mail would mean; where the pair goes is not told yet."""
    reader = named_of(safe_return)
    with reader.spoken_to(safe_return):
        _note(safe_return, reader, _words_at_start(safe_return), key="started", kind=NAMED_AT_START)


def _words_at_start(safe_return: SafeReturn) -> Words:
    names = {"name": safe_return.started_by.name, "group": safe_return.group.name}
    lines = [
        _("%(name)s of %(group)s is going to a river and has named you as the person to be told.") % names,
        _("They expect to be back by %(time)s. You need do nothing now.")
        % {"time": clock(safe_return.expected_at)},
        _(
            "If they do not say that they are back, you get a second e-mail, at %(time)s or soon after, that "
            "says where they went and whom to telephone."
        )
        % {"time": clock(safe_return.due_at(Step.NAMED))},
    ]
    return Words(_("%(name)s names you for a safe return") % names, lines)


def tell_extended(safe_return: SafeReturn) -> None:
    """Let everybody else who was told know that the pair has answered and takes more time."""
    for reader in told_others(safe_return):
        with reader.spoken_to(safe_return):
            _note(safe_return, reader, _words_of_more_time(safe_return), key=f"extended:{safe_return.round}")


def _words_of_more_time(safe_return: SafeReturn) -> Words:
    until = {"name": safe_return.started_by.name, "time": clock(safe_return.expected_at)}
    lines = [
        _("%(name)s has answered and takes more time: they now expect to be back by %(time)s.") % until,
        _("If they do not say by then that they are back, the reminders begin again."),
    ]
    return Words(_("%(name)s takes more time, until %(time)s") % until, lines)


def tell_ended(safe_return: SafeReturn, by_email: str) -> None:
    """Let everybody know who heard of it: the others always, the pair where somebody else called them safe."""
    readers = {each.email: each for each in (named_of(safe_return), *told_others(safe_return))}
    if safe_return.ended_how != Ending.BACK:
        readers |= {each.email: each for each in pair_of(safe_return)}
    for reader in readers.values():
        if reader.email != by_email:
            with reader.spoken_to(safe_return):
                _note(safe_return, reader, _words_of_end(safe_return), key="ended")


def _words_of_end(safe_return: SafeReturn) -> Words:
    names = {"name": safe_return.started_by.name, "by": safe_return.ended_by_name}
    if safe_return.ended_how == Ending.BACK:
        line = _("%(by)s has said so. Nothing more is to be done.")
        return Words(_("%(name)s is back") % names, [line % names])
    line = _("%(by)s has said so, and the portal no longer watches. If that is wrong, act at once.")
    return Words(_("%(name)s is said to be safe") % names, [line % names])


def tell_undelivered(safe_return: SafeReturn, message: Message) -> None:
    """Say that a mail to the named person failed: to the pair at the start, later to the coordinators."""
    at_start = message.kind == NAMED_AT_START
    for reader in pair_of(safe_return) if at_start else coordinators_for(safe_return):
        with reader.spoken_to(safe_return):
            words = _words_of_failure(message, at_start=at_start)
            _note(safe_return, reader, words, key=f"undelivered:{message.pk}")


def _words_of_failure(message: Message, *, at_start: bool) -> Words:
    named = {"name": message.to_name, "address": message.to_address}
    line = _("The e-mail to %(name)s at %(address)s could not be delivered.") % named
    advice = (
        _("Telephone them before you go, or end this safe return and start another with an address that works.")
        if at_start
        else _("Telephone them, and do what your local rules say for somebody overdue.")
    )
    return Words(_("%(name)s could not be told") % named, [line, advice])


def told_others(safe_return: SafeReturn) -> list[Reader]:
    """Everybody outside the pair who was told that they are overdue."""
    notices = {each.email: each for each in safe_return.notices.filter(is_of_pair=False)}
    accounts = {each.email: each.language for each in User.objects.filter(email__in=notices)}
    return [Reader(each.name, email, accounts.get(email, "")) for email, each in notices.items()]


def _notice(safe_return: SafeReturn, step: Step, reader: Reader, *, is_of_pair: bool) -> ReturnNotice:
    notice, _is_new = ReturnNotice.objects.across_groups("the return names its group").get_or_create(
        safe_return=safe_return,
        round=safe_return.round,
        step=step,
        email=reader.email,
        defaults={"name": reader.name, "is_of_pair": is_of_pair, "told_at": timezone.now()},
    )
    return notice


def _context(safe_return: SafeReturn, reader: Reader, late: int = 0) -> dict[str, Any]:
    return {
        "safe_return": safe_return,
        "site": safe_return.site,
        "place": place_of(safe_return.site),
        "rules": rules_of(safe_return.group),
        "reader": reader,
        "late": late,
        "page": settings.BASE_URL
        + reverse("safe_return_detail", args=[safe_return.group.slug, safe_return.pk]),
    }


def _note(safe_return: SafeReturn, reader: Reader, words: Words, *, key: str, kind: str = NOTE) -> None:
    context = _context(safe_return, reader) | {"headline": words.headline, "lines": words.lines}
    # An address may be longer than a key.
    address = sha256(reader.email.encode()).hexdigest()[:24]
    _owe(safe_return, kind, f"return:{safe_return.pk}:{key}:{address}", "return_note", context)


def _owe(safe_return: SafeReturn, kind: str, key: str, template: str, context: dict[str, Any]) -> None:
    subject, text, html = render_mail(f"surveys/mail/{template}", context)
    owe_message(
        key=key,
        kind=kind,
        to_address=context["reader"].email,
        to_name=context["reader"].name,
        subject=subject,
        text=text,
        html=html,
        group=safe_return.group,
        about=safe_return,
    )
