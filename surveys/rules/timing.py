"""Rules about the kicks that a phone timed: against what was typed, the plan and the day of the visit."""

from __future__ import annotations

from decimal import Decimal

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from surveys.measuring.quantities import COMMON
from surveys.rules.types import Context, Remarks, Rule, Severity
from surveys.submission.numbers import plain_text
from surveys.submission.types import Spot, Submission
from surveys.visits.effort import is_near


def _timed_seconds(spot: Spot) -> Decimal:
    return sum((kick.seconds for kick in spot.timed), Decimal(0))


def _tenths(seconds: Decimal) -> str:
    return plain_text(seconds.quantize(Decimal("0.1")))


def _differs(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    for spot in submission.spots:
        if not spot.timed:
            continue
        # Seconds are typed to a tenth, and each kick may have been rounded on the way.
        if not is_near(spot.seconds, _timed_seconds(spot)):
            words = _("The phone timed %(timed)s s at this spot, and %(typed)s s stand here.")
            numbers = {"timed": _tenths(_timed_seconds(spot)), "typed": plain_text(spot.seconds)}
            yield f"{spot.field}.seconds", words % numbers
        if spot.kicks != len(spot.timed):
            words = _("Kicks timed by the phone: %(timed)s; kicks noted here: %(typed)s.")
            yield f"{spot.field}.kicks", words % {"timed": len(spot.timed), "typed": spot.kicks}


def _off_plan(submission: Submission, context: Context) -> Remarks:
    planned = Decimal(context.site.seconds_per_kick)
    for spot in submission.spots:
        odd = [
            _("kick %(number)s: %(seconds)s s") % {"number": number, "seconds": _tenths(kick.seconds)}
            for number, kick in enumerate(spot.timed, start=1)
            if not is_near(kick.seconds, planned)
        ]
        if odd:
            words = _("Timed shorter or longer than the planned %(planned)s s: %(kicks)s.")
            yield f"{spot.field}.seconds", words % {"planned": plain_text(planned), "kicks": ", ".join(odd)}


def _other_day(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    for spot in submission.spots:
        days = sorted({timezone.localdate(kick.started_at) for kick in spot.timed} - {submission.visited_on})
        if days:
            words = _("By the phone's clock this spot was timed on %(day)s, not on the day of the visit.")
            yield f"{spot.field}.seconds", words % {"day": date_format(days[0], "j F Y")}


def _damaged(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    for spot in submission.spots:
        if spot.log_damaged:
            words = _("Some of what the phone timed here could not be read. The numbers noted here count.")
            yield f"{spot.field}.seconds", words


TIMING_RULES = (
    Rule(
        "timed_otherwise",
        gettext_lazy("Timed otherwise than noted"),
        gettext_lazy(
            "Where a phone timed the kicks of a spot, their number is the one noted, and their time differs "
            "from the one noted by at most 10 %."
        ),
        Severity.FINDING,
        COMMON,
        _differs,
    ),
    Rule(
        "timed_off_plan",
        gettext_lazy("Single kick off the plan"),
        gettext_lazy(
            "Each kick that a phone timed is within 10 % of the site's plan: a good mean can hide two bad ones."
        ),
        Severity.FINDING,
        COMMON,
        _off_plan,
    ),
    Rule(
        "timed_other_day",
        gettext_lazy("Timed on another day"),
        gettext_lazy("Kicks are timed on the day of the visit; the phone's clock or the date is wrong."),
        Severity.FINDING,
        COMMON,
        _other_day,
    ),
    Rule(
        "timed_damaged",
        gettext_lazy("Timed kicks unreadable"),
        gettext_lazy(
            "What a phone timed goes along unseen, so nobody could mend it: it is left out, and the visit is "
            "taken with the kicks and seconds noted."
        ),
        Severity.FINDING,
        COMMON,
        _damaged,
    ),
)
