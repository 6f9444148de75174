"""E-mails of an enquiry: to whoever asked, to a guardian, to the supervisor, to the coordinators."""

from __future__ import annotations

from contextlib import AbstractContextManager
from datetime import date

from django.utils.translation import gettext as _

from portal.accounts.access import Person
from portal.accounts.languages import speaking_to
from portal.accounts.models import Group, Membership, Role
from portal.accounts.queries import members_of
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.people.links import ENQUIRY_LINK
from surveys.people.mail import Letter, day_words, page_address, send_letter
from surveys.people.models import Enquiry
from surveys.people.terms import ERASED_AFTER, UNCONFIRMED_KEPT

# Each begins so, by which the mails to one address are counted.
KIND = "enquiry."


def spoken_to(enquiry: Enquiry) -> AbstractContextManager[None]:
    """All texts made inside are in the language of whoever asked."""
    return speaking_to(group=enquiry.group, own=enquiry.language)


def ask_to_confirm(enquiry: Enquiry) -> None:
    """The e-mail without which nothing is kept."""
    with spoken_to(enquiry):
        words = {"group": enquiry.group.name, "days": UNCONFIRMED_KEPT.days}
        letter = Letter(
            headline=_("Did you ask to go out with %(group)s?") % words,
            lines=[
                _("Somebody gave this address on our page and asked to have a go at sampling with us."),
                _("If it was you, open the page below and press the button. A coordinator then answers you."),
                _("If it was not you, do nothing: after %(days)s days all of it is erased.") % words,
            ],
            url=ENQUIRY_LINK.address("enquiry_link", enquiry.pk),
            button=_("Yes, it was me"),
            small=[_kept()],
        )
        _to_asker(enquiry, "confirm", letter)


def say_member(member: Membership, day: date) -> None:
    """Whoever asked is a member; only their own mailbox hears of it."""
    with speaking_to(member.user, member.group):
        send_letter(
            group=member.group,
            key=f"enquiry-member:{member.pk}:{day}",
            kind=f"{KIND}member",
            to=(member.user.name, member.user.email),
            about=member.group,
            letter=_to_member(member.group),
        )


def _to_member(group: Group) -> Letter:
    return Letter(
        headline=_("You belong to the group already"),
        lines=[_("Somebody gave your address on our page for newcomers. You are a member: sign in as usual.")],
        url=page_address("group_desk", group),
        button=_("To the group's desk"),
        small=[_("If it was not you, you need do nothing.")],
    )


def say_written_down(enquiry: Enquiry, writer: Person) -> None:
    """Somebody was written down at the bank: what is kept, and how to end it."""
    with spoken_to(enquiry):
        words = {"name": writer.name, "group": enquiry.group.name}
        letter = Letter(
            headline=_("You asked to have a go with %(group)s") % words,
            lines=[
                _("%(name)s has written down that you would like to have a go. A coordinator will answer you.")
                % words,
                _("If that is not so, have it erased with one press on the page below."),
            ],
            url=ENQUIRY_LINK.address("enquiry_link", enquiry.pk),
            button=_("What is kept of me"),
            small=[_kept()],
        )
        _to_asker(enquiry, "written-down", letter)


def tell_coordinators(enquiry: Enquiry, besides: Person | None = None) -> None:
    """Say that somebody waits for an answer; who it is stands on the page alone."""
    for each in _coordinators(enquiry):
        if besides is None or each.user_id != besides.user_id:
            with speaking_to(each.user, enquiry.group):
                line = _(
                    "A new enquiry waits for an answer. People who hear within a few days are far likelier to "
                    "come."
                )
                letter = _to_coordinator(enquiry, _("Somebody would like to have a go"), line)
                _send(enquiry, f"new:{each.user_id}", (each.user.name, each.user.email), letter)


def tell_asked_again(enquiry: Enquiry, step: int) -> None:
    """Say that somebody who waits asked again; what they wrote stands on the page alone."""
    for each in _coordinators(enquiry):
        with speaking_to(each.user, enquiry.group):
            line = _("They asked before, and wrote once more. It is kept as one enquiry; both are on its page.")
            letter = _to_coordinator(enquiry, _("Somebody has asked again to have a go"), line)
            _send(enquiry, f"asked-again:{step}:{each.user_id}", (each.user.name, each.user.email), letter)


def _coordinators(enquiry: Enquiry) -> GroupOwnedQuerySet[Membership]:
    return members_of(enquiry.group).filter(role=Role.COORDINATOR)


def _to_coordinator(enquiry: Enquiry, headline: str, line: str) -> Letter:
    return Letter(
        headline=headline,
        lines=[line],
        url=page_address("enquiry_detail", enquiry.group, enquiry_id=enquiry.pk),
        button=_("Read and answer"),
    )


def send_answer(enquiry: Enquiry, writer: Person, step: int, words: str) -> None:
    """A coordinator's own words; the reply goes to the coordinator."""
    with spoken_to(enquiry):
        letter = Letter(
            headline=_("%(group)s has answered") % {"group": enquiry.group.name},
            lines=[words],
            url=ENQUIRY_LINK.address("enquiry_link", enquiry.pk),
            button=_("What is kept of me"),
            small=[_("Reply to this e-mail to write to %(name)s.") % {"name": writer.name}, _kept()],
            reply_to=writer.email,
        )
        _to_asker(enquiry, f"answer:{step}", letter)


def send_first_visit(enquiry: Enquiry, writer: Person, step: int, words: str) -> None:
    """Where and when the first visit is, and with whom; a guardian gets the same."""
    with spoken_to(enquiry):
        letter = Letter(
            headline=_("Your first visit, %(day)s") % {"day": day_words(_day(enquiry))},
            lines=_first_visit_lines(enquiry, writer, words),
            url=ENQUIRY_LINK.address("enquiry_link", enquiry.pk),
            button=_("The day once more, and what is kept of me"),
            small=[_("Reply to this e-mail if you cannot come."), _kept()],
            reply_to=writer.email,
        )
        _to_asker(enquiry, f"visit:{step}", letter)
        if enquiry.guardian_email:
            to = (enquiry.guardian_name, enquiry.guardian_email)
            _send(enquiry, f"visit-guardian:{step}", to, _for_guardian(letter, enquiry))


def _first_visit_lines(enquiry: Enquiry, writer: Person, words: str) -> list[str]:
    where = {
        "day": day_words(_day(enquiry)),
        "site": enquiry.first_site,
        "name": enquiry.supervisor.name if enquiry.supervisor else writer.name,
    }
    lines = [
        _("You are invited to a first visit on %(day)s: %(site)s, with %(name)s, who looks after you there.")
        % where,
        *([words] if words else []),
        _(
            "Bring boots or waders and warm clothes; the net and the rest are there. You need not go into the "
            "water. Who looks after you decides on the day, and the visit is called off if the river is high."
        ),
    ]
    if enquiry.is_minor:
        lines.append(_("Under 18, you come only with your guardian's consent and never go out alone."))
    return lines


def _for_guardian(letter: Letter, enquiry: Enquiry) -> Letter:
    first = _("%(name)s named you as guardian and was sent what follows. Reply if you do not agree.")
    lines = [first % {"name": enquiry.name}, *letter.lines]
    return Letter(letter.headline, lines, letter.url, letter.button, letter.small, letter.reply_to)


def tell_supervisor(enquiry: Enquiry, writer: Person, step: int) -> None:
    """Say whom somebody looks after, and how to reach them."""
    if enquiry.supervisor is None:
        return
    with speaking_to(enquiry.supervisor, enquiry.group):
        where = {"name": enquiry.name, "day": day_words(_day(enquiry)), "site": enquiry.first_site}
        reach = ", ".join(each for each in (enquiry.phone, enquiry.email) if each)
        lines = [
            _("%(name)s comes along for the first time on %(day)s: %(site)s. You look after them.") % where,
            _("They can be reached by: %(reach)s.") % {"reach": reach},
            _("Show before you ask, stay beside them in the water, and call it off if the river is high."),
        ]
        if enquiry.is_minor:
            lines.append(_("They are under 18: never alone, and never with nobody but another under 18."))
        letter = Letter(
            headline=_("You look after a newcomer, %(day)s") % where,
            lines=lines,
            url=page_address("group_desk", enquiry.group),
            button=_("To the group's desk"),
            reply_to=writer.email,
        )
        to = (enquiry.supervisor.name, enquiry.supervisor.email)
        _send(enquiry, f"supervisor:{step}", to, letter)


def _day(enquiry: Enquiry) -> date:
    assert enquiry.first_visit_on is not None
    return enquiry.first_visit_on


def _kept() -> str:
    days = {"days": ERASED_AFTER.days}
    return (
        _(
            "What you told us is read by the coordinators and whoever looks after you, by nobody else. It is "
            "erased %(days)s days after the last step when nothing comes of it, and at once when you ask for "
            "it on that page."
        )
        % days
    )


def _to_asker(enquiry: Enquiry, what: str, letter: Letter) -> None:
    if enquiry.email:
        _send(enquiry, what, (enquiry.name, enquiry.email), letter)


def _send(enquiry: Enquiry, what: str, to: tuple[str, str], letter: Letter) -> None:
    key = f"enquiry:{enquiry.pk}:{what}"
    kind = KIND + what.partition(":")[0]
    send_letter(group=enquiry.group, key=key, kind=kind[:40], to=to, about=enquiry, letter=letter)
