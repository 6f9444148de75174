"""E-mails about people, owed in the caller's transaction. One frame for all: a headline, lines, a button."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from portal.accounts.languages import speaking_to
from portal.accounts.models import Group, User
from portal.outbox.models import Message
from portal.outbox.rendering import render_mail
from portal.outbox.services import owe_message


@dataclass(frozen=True)
class Letter:
    """One e-mail: `button` and `url` lead on; `small` says why it came and what may be done about it."""

    headline: str
    lines: Sequence[str]
    url: str = ""
    button: str = ""
    small: Sequence[str] = ()
    reply_to: str = ""


def send_letter(
    *, group: Group, key: str, kind: str, to: tuple[str, str], about: models.Model, letter: Letter
) -> Message:
    """Owe the letter to (name, address), in the language that it was worded in."""
    name, address = to
    context = {"letter": letter, "group": group, "name": name}
    subject, text, html = render_mail("people/mail/letter", context)
    return owe_message(
        key=key,
        kind=kind,
        to_address=address,
        to_name=name,
        subject=subject,
        text=text,
        html=html,
        group=group,
        about=about,
        reply_to=letter.reply_to,
    )


def page_address(page: str, group: Group, **arguments: object) -> str:
    """The whole address of a page of the group."""
    return settings.BASE_URL + reverse(page, kwargs={"slug": group.slug, **arguments})


def day_words(day: date) -> str:
    """A day as it is read in a mail."""
    return date_format(day, "l j F Y")


def tell_lapsing(user: User, group: Group, training: models.Model, kind: str, until: date) -> Message:
    """Remind somebody that a training lapses; once for each training."""
    with speaking_to(user, group):
        words = {"kind": kind, "day": day_words(until), "group": group.name}
        letter = Letter(
            headline=_("%(kind)s: valid until %(day)s") % words,
            lines=[
                _("Your training “%(kind)s” with %(group)s is valid until %(day)s.") % words,
                _("Ask a coordinator when to go through it again, or tell them if you have done so elsewhere."),
            ],
            url=page_address("own_record", group),
            button=_("What the group keeps of me"),
            small=[_("This reminder comes once for each training.")],
        )
        key = f"training-lapses:{training.pk}"
        return send_letter(
            group=group,
            key=key,
            kind="training.lapses",
            to=(user.name, user.email),
            about=training,
            letter=letter,
        )
