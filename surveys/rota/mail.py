"""What the e-mails of the rota say, owed in the caller's transaction."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from portal.accounts.languages import speaking_to
from portal.accounts.models import Group, User
from portal.accounts.queries import coordinator_addresses
from portal.outbox.models import Message
from portal.outbox.rendering import render_mail
from portal.outbox.services import owe_message
from surveys.outings.rules import checklist_of, rules_of
from surveys.rota.links import cover_url, place_url, swap_url
from surveys.rota.models import LIVE, Assignment, CoverOffer, PlannedVisit, SwapOffer


@dataclass(frozen=True)
class Line:
    """One visit in a mail: what and when, who goes, and the link with what it opens."""

    planned: PlannedVisit
    people: str
    url: str = ""
    label: str = ""


@dataclass(frozen=True)
class Letter:
    """One e-mail of the rota; `key` makes it unique, `about` is what it concerns."""

    key: str
    kind: str
    headline: str
    paragraphs: Sequence[str]
    visits: Sequence[Line] = ()
    cautions: bool = False
    checklist: bool = False
    # Where letters of this kind are switched off without signing in.
    unsubscribe: str = ""


def spoken_to(place: Assignment) -> AbstractContextManager[None]:
    """All texts made inside are in the language of whoever is down for the place."""
    return speaking_to(place.user, place.planned.group)


def usual_cautions() -> list[str]:
    """What is said with every invitation to a river (common practice, no source)."""
    return [
        _("Nobody has to go for a date. Go with another adult, never alone; tell somebody when you are back."),
        _("Stay out of high, fast or clouded water: if in doubt, stay out, and say in the portal why."),
        _("Your group's own risk assessment and the people who trained you come before anything written here."),
    ]


def who_goes(planned: PlannedVisit, but: User | None = None) -> str:
    """The names of those down for a visit, as its members see them."""
    rows = Assignment.objects.of_group(planned.group).filter(planned=planned, state__in=LIVE)
    people = [each.user for each in rows.select_related("user").order_by("user__name")]
    names = [each.name for each in people if each != but]
    missing = planned.people_needed - len(people)
    if missing > 0:
        open_places = ngettext("%(number)s place open", "%(number)s places open", missing)
        names.append(open_places % {"number": missing})
    return ", ".join(names)


def day_words(day: date) -> str:
    """A day as it stands in a mail: "Thursday 3 December"."""
    return date_format(day, "l j F")


def line_for(assignment: Assignment) -> Line:
    """A person's own visit, with the link that answers for it."""
    with_whom = who_goes(assignment.planned, but=assignment.user)
    return Line(assignment.planned, with_whom, place_url(assignment), _("Say yes or no, or swap"))


def tell_plan(group: Group, user: User, places: Sequence[Assignment], key: str) -> Message:
    """Tell one person of all their new visits at once."""
    with speaking_to(user, group):
        letter = Letter(
            key=f"rota:{key}:{user.pk}",
            kind="rota.planned",
            headline=_("Your visits on the rota"),
            paragraphs=[_("You are down for the visits below. Please say for each whether you can.")],
            visits=[line_for(each) for each in places],
            cautions=True,
        )
        return owe_letter(group, user, letter, about=places[0].planned)


def tell_place(
    assignment: Assignment, headline: str, words: str, *, key: str, cautions: bool = False
) -> Message:
    """Tell one person something about one visit that they are down for, in words made while `spoken_to`."""
    letter = Letter(
        key=f"rota:{key}:{assignment.pk}:{assignment.sequence}",
        kind="rota.changed",
        headline=headline,
        paragraphs=[words],
        visits=[line_for(assignment)],
        cautions=cautions,
    )
    return owe_letter(assignment.planned.group, assignment.user, letter, about=assignment.planned)


def tell_off(assignment: Assignment, words: str, *, key: str) -> Message:
    """Tell somebody that they need not go, in words made while `spoken_to`."""
    letter = Letter(
        key=f"rota:{key}:{assignment.pk}:{assignment.sequence}",
        kind="rota.changed",
        headline=_("You need not go: a visit has changed"),
        paragraphs=[words],
        visits=[Line(assignment.planned, "")],
    )
    return owe_letter(assignment.planned.group, assignment.user, letter, about=assignment.planned)


def ask_cover(offer: CoverOffer) -> Message:
    """Ask one person whether they can take an open place."""
    with speaking_to(offer.user, offer.planned.group):
        planned = offer.planned
        letter = Letter(
            key=f"rota:cover:{offer.pk}:{offer.asked}",
            kind="rota.cover",
            headline=_("Can you step in?"),
            paragraphs=[
                _("A place is open on this visit, and you said that you can go that day."),
                _("Who takes it first has it. If you cannot, you need do nothing."),
            ],
            visits=[Line(planned, who_goes(planned), cover_url(offer), _("See it and take it"))],
            cautions=True,
        )
        return owe_letter(planned.group, offer.user, letter, about=planned)


def tell_coordinators_uncovered(planned: PlannedVisit, who: str) -> None:
    """Nobody could be asked: it is for the coordinators to find somebody, move it or call it off."""
    # One letter to each, because each has a language, and a state of delivery, of its own.
    for user in User.objects.filter(email__in=coordinator_addresses(planned.group)):
        with speaking_to(user, planned.group):
            letter = Letter(
                key=f"rota:uncovered:{planned.pk}:{planned.sequence}:{user.pk}",
                kind="rota.uncovered",
                headline=_("Nobody to step in"),
                paragraphs=_nobody_free(who),
                visits=[Line(planned, who_goes(planned), _page(planned), _("Open the visit"))],
            )
            owe_letter(planned.group, user, letter, about=planned)


def _nobody_free(who: str) -> list[str]:
    return [
        _("%(name)s cannot go, and nobody else who said that they can that day is free.") % {"name": who},
        _("Move the visit, ask somebody yourself, or call it off."),
    ]


def ask_swap(swap: SwapOffer) -> Message:
    """Ask the holder of the other place."""
    with speaking_to(swap.yours.user, swap.group):
        asker = swap.mine.user.name
        letter = Letter(
            key=f"rota:swap:{swap.pk}",
            kind="rota.swap",
            headline=_("%(name)s would like to swap with you") % {"name": asker},
            paragraphs=[
                _("You would go to the first visit in place of the second; %(name)s takes yours.")
                % {"name": asker},
                _("Nothing changes until you agree."),
            ],
            visits=[
                Line(swap.mine.planned, "", swap_url(swap), _("Agree, or say no")),
                Line(swap.yours.planned, ""),
            ],
            cautions=True,
        )
        return owe_letter(swap.group, swap.yours.user, letter, about=swap)


def tell_swap_refused(swap: SwapOffer, words: str) -> Message:
    """Tell who asked that nothing comes of it, in words made while `spoken_to`."""
    letter = Letter(
        key=f"rota:swap-over:{swap.pk}",
        kind="rota.changed",
        headline=_("Your swap does not come about"),
        paragraphs=[words, _("You are still down for this visit.")],
        visits=[line_for(swap.mine)],
    )
    return owe_letter(swap.group, swap.mine.user, letter, about=swap)


def _page(planned: PlannedVisit) -> str:
    return settings.BASE_URL + reverse("planned_visit", args=[planned.group.slug, planned.pk])


def owe_letter(group: Group, user: User, letter: Letter, *, about: models.Model) -> Message:
    """Write the row of one letter, in the language that it was worded in."""
    context = {
        "letter": letter,
        "reader": user,
        "group": group,
        "cautions": usual_cautions() if letter.cautions else [],
        "checklist": checklist_of(rules_of(group)) if letter.checklist else [],
        "rota_url": settings.BASE_URL + reverse("rota_page", args=[group.slug]),
    }
    subject, text, html = render_mail("rota/mail/letter", context)
    return owe_message(
        key=letter.key,
        kind=letter.kind,
        to_address=user.email,
        to_name=user.name,
        subject=subject,
        text=text,
        html=html,
        group=group,
        about=about,
        unsubscribe_url=letter.unsubscribe,
    )
