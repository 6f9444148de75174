"""Reminders of planned visits. All state stands in rows: a sweep that comes late or twice does no harm."""

from __future__ import annotations

import logging
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, Subquery
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from portal.accounts.models import Membership
from portal.accounts.walls import wide, within
from surveys.outings.rivers import river_at
from surveys.rota.due import site_obstacle
from surveys.rota.links import reminders_url
from surveys.rota.mail import Letter, day_words, line_for, owe_letter, spoken_to
from surveys.rota.models import LIVE, Assignment, Availability, PlannedVisit
from surveys.rota.queries import with_recorded
from surveys.rota.services.availability import USUAL_DAYS
from surveys.rota.services.places import only_minors, people_on

logger = logging.getLogger(__name__)
HIGH = gettext_lazy("a member has reported the river above this site's limit")


@wide("the clock runs for every group")
def remind_of_visits() -> int:
    """Remind everybody whose visit comes up; return how many were reminded.

    Trouble with one leaves the others alone; RuntimeError tells of it at the end, the next sweep tries again.
    """
    today, reminded, failed = timezone.localdate(), 0, 0
    for number in list(_due(today).values_list("pk", flat=True)):
        try:
            reminded += _remind_one(number, today)
        except Exception:
            logger.exception("The reminder of the place %s could not be written.", number)
            failed += 1
    if failed:
        raise RuntimeError(f"{failed} reminders could not be written.")
    return reminded


def _due(today: date) -> Any:
    """Places of visits to come whose people are not reminded of this day yet, and want to be."""
    rows = Assignment.objects.across_groups("the clock runs for every group")
    rows = rows.filter(state__in=LIVE, day__gte=today, planned__state=PlannedVisit.State.PUBLISHED)
    own = Availability.objects.filter(group=OuterRef("planned__group"), user=OuterRef("user"))
    member = Membership.objects.filter(group=OuterRef("planned__group"), user=OuterRef("user"), left_at=None)
    told = (
        rows.filter(user__is_active=True)
        .exclude(reminded_of=F("day"))
        .annotate(days=Subquery(own.values("remind_days")[:1]))
    )
    return told.filter(Exists(member), Q(days__gt=0) | Q(days=None)).order_by("day")


@transaction.atomic
def _remind_one(number: UUID, today: date) -> bool:
    rows = _due(today).filter(pk=number).select_for_update(of=("self",), skip_locked=True)
    place = rows.select_related("planned__site", "planned__group", "user").first()
    if place is None:
        return False
    days = USUAL_DAYS if place.days is None else place.days
    begins = place.day - timedelta(days=days)
    if today < begins or _is_recorded(place):
        return False
    # Noted also where no letter follows, so that the next sweep does not ask again.
    place.reminded_of = place.day
    place.save(update_fields=["reminded_of"])
    # Whoever was told within these days needs no second letter about it.
    if place.told_at and timezone.localdate(place.told_at) >= begins:
        return False
    with within(place.group_id):
        _owe(place, today)
    return True


def _is_recorded(place: Assignment) -> bool:
    rows = PlannedVisit.objects.of_group(place.planned.group).filter(pk=place.planned_id)
    return bool(with_recorded(rows).exclude(recorded_id=None).exists())


def _owe(place: Assignment, today: date) -> None:
    planned = place.planned
    # Read when the letter is written and not at the start of the sweep: rivers rise.
    is_high = river_at(planned.site).high_until is not None
    with spoken_to(place):
        obstacle = site_obstacle(planned.site, planned.day)
        letter = Letter(
            key=f"rota:reminder:{place.pk}:{place.day}",
            kind="rota.reminder",
            headline=_headline(place, today, is_high or bool(obstacle)),
            paragraphs=_paragraphs(place, obstacle or (HIGH if is_high else "")),
            visits=[line_for(place)],
            cautions=True,
            checklist=True,
            unsubscribe=reminders_url(_membership(place)),
        )
        owe_letter(planned.group, place.user, letter, about=planned)


def _membership(place: Assignment) -> Membership:
    return Membership.objects.of_group(place.planned.group).get(user=place.user)


def _headline(place: Assignment, today: date, stays_away: bool) -> str:
    if stays_away:
        return _("Stay away for now")
    days = (place.day - today).days
    if days == 0:
        return _("Your visit is today")
    words = ngettext("Your visit is in %(days)s day", "Your visit is in %(days)s days", days)
    return words % {"days": days}


def _paragraphs(place: Assignment, why_not: str | Promise) -> list[str]:
    planned = place.planned
    words = []
    if why_not:
        words.append(_("Do not go while this holds: %(why)s.") % {"why": why_not})
        words.append(_("Look again before the day, and ask a coordinator if you are in doubt."))
    else:
        words.append(_("You are down for it on %(day)s.") % {"day": day_words(planned.day)})
    down = [each.user_id for each in people_on(planned)]
    if len(down) < planned.people_needed:
        words.append(_("A place is still open: nobody goes alone. If nobody is found, leave it."))
    if only_minors(planned.group, planned.day, down):
        words.append(_("Nobody of 18 or over is down for it yet: until somebody is, it does not take place."))
    if place.state == Assignment.State.ASKED:
        words.append(_("You have not answered yet. Please say whether you can."))
    return words
