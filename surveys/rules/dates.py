"""Rules about when a visit was."""

from __future__ import annotations

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from surveys.measuring.quantities import COMMON
from surveys.rules.types import Context, Remarks, Rule, Severity
from surveys.submission.types import Submission

EARLIEST = date(1900, 1, 1)


def _future(submission: Submission, context: Context) -> Remarks:
    if submission.visited_on > context.today:
        yield "visited_on", _("This day is still to come. Check the day, the month and the year.")


def _too_early(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    if submission.visited_on < EARLIEST:
        yield "visited_on", _("This is before 1900. Check the year.")


def _before_opening(submission: Submission, context: Context) -> Remarks:
    opened = context.site.opened_on
    if opened and submission.visited_on < opened:
        yield (
            "visited_on",
            _(
                "This is before the site's first day, %(day)s. Check the date, and that it is the right site. "
                "If the group did come here earlier, a coordinator changes the first day in the site's form."
            )
            % {"day": date_format(opened)},
        )


def _after_closing(submission: Submission, context: Context) -> Remarks:
    closed = context.site.closed_on
    if closed and submission.visited_on > closed:
        yield "visited_on", _("The site was closed on %(day)s.") % {"day": date_format(closed)}


def _end_before_start(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    start, end = submission.started_at, submission.ended_at
    if start and end and end < start:
        yield "ended_at", _("The end is before the start. Check both times.")


def _same_day(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    if context.same_day:
        yield (
            "visited_on",
            _(
                "There is already a visit to this site on this day. Is this a replicate, a repeat or a "
                "mistake? Say so in the notes."
            ),
        )


def _permission(submission: Submission, context: Context) -> Remarks:
    # The visit itself is done; what can still be mended is the next one.
    until = context.site.permission_until
    if until and not context.past_record and context.site.permission_lapsed(submission.visited_on):
        yield (
            "visited_on",
            _("The landowner's permission ended on %(day)s. Ask a coordinator before the next visit.")
            % {"day": date_format(until)},
        )


DATE_RULES = (
    Rule(
        "date_future",
        gettext_lazy("Date still to come"),
        gettext_lazy("Nobody can have sampled on a day that is still to come."),
        Severity.ERROR,
        COMMON,
        _future,
    ),
    Rule(
        "date_too_early",
        gettext_lazy("Date before 1900"),
        gettext_lazy("The year is almost certainly mistyped."),
        Severity.ERROR,
        COMMON,
        _too_early,
    ),
    Rule(
        "site_not_open",
        gettext_lazy("Before the site opened"),
        gettext_lazy("Either the date or the site is wrong."),
        Severity.ERROR,
        COMMON,
        _before_opening,
    ),
    Rule(
        "site_closed",
        gettext_lazy("After the site closed"),
        gettext_lazy("It may be a last look at an old site; ask the recorder whether it is the right one."),
        Severity.FINDING,
        COMMON,
        _after_closing,
    ),
    Rule(
        "end_before_start",
        gettext_lazy("End before start"),
        gettext_lazy("The two times contradict each other."),
        Severity.ERROR,
        COMMON,
        _end_before_start,
    ),
    Rule(
        "same_day",
        gettext_lazy("Second visit on the same day"),
        gettext_lazy("Ask whether it is a replicate by another pair, a repeat, or the same visit typed twice."),
        Severity.FINDING,
        COMMON,
        _same_day,
    ),
    Rule(
        "permission_lapsed",
        gettext_lazy("Landowner's permission ended"),
        gettext_lazy("Access without permission can cost the group its site; renew it before the next visit."),
        Severity.FINDING,
        COMMON,
        _permission,
    ),
)
