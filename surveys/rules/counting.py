"""Rules about the count."""

from __future__ import annotations

from collections import Counter

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from surveys.measuring.quantities import COMMON
from surveys.rules.types import Context, Remarks, Rule, Severity, line_key
from surveys.submission.types import Submission

TIMES_THE_MOST = 10
VISITS_TO_KNOW_A_SITE = 5


def _no_counts(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    if submission.was_made and not submission.counts:
        yield (
            "counts",
            _("Nothing is counted. If you looked and found nothing, write 0 beside what you looked for."),
        )


def _twice(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    seen = Counter(map(line_key, submission.counts))
    repeated = {line_key(entry): entry for entry in submission.counts if seen[line_key(entry)] > 1}
    for entry in repeated.values():
        yield (
            entry.field,
            _("%(name)s is entered twice. Add the two up, or correct one.") % {"name": entry.name},
        )


def _no_fraction(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    if not submission.fraction_sorted and any(entry.whole_tray for entry in submission.counts):
        yield (
            "fraction_sorted",
            _("You picked some out of the whole tray apart from the rest. Which fraction of it did you sort?"),
        )


def _many(submission: Submission, context: Context) -> Remarks:
    for entry in submission.counts:
        # By taxon, not by finer name: that a site's baetids are named to species is no news.
        most = context.history.most.get(entry.taxon, 0)
        if most and entry.fewest > TIMES_THE_MOST * most:
            yield (
                entry.field,
                _("%(count)s is over ten times the most ever counted here (%(most)s). Is a digit too many?")
                % {"count": entry.fewest, "most": most},
            )


def _new_here(submission: Submission, context: Context) -> Remarks:
    history = context.history
    # At a young site everything is new.
    if history.approved_visits < VISITS_TO_KNOW_A_SITE:
        return
    for entry in submission.counts:
        if entry.is_present and entry.taxon not in history.most and entry.taxon not in history.commonplace:
            yield (
                entry.field,
                _("%(name)s has never been found at this site. A photo helps whoever checks it.")
                % {"name": entry.name},
            )


COUNTING_RULES = (
    Rule(
        "no_counts",
        gettext_lazy("Nothing counted"),
        gettext_lazy(
            "“Looked for and not found” is a 0; a blank is “not looked for”. An empty tray must be stated."
        ),
        Severity.ERROR,
        COMMON,
        _no_counts,
    ),
    Rule(
        "taxon_twice",
        gettext_lazy("Taxon entered twice"),
        gettext_lazy("Each taxon has one line."),
        Severity.ERROR,
        COMMON,
        _twice,
    ),
    Rule(
        "fraction_sorted",
        gettext_lazy("Fraction of the tray"),
        gettext_lazy(
            "A fraction is at most the whole tray; finds of the whole tray are told apart only beside one."
        ),
        Severity.ERROR,
        COMMON,
        _no_fraction,
    ),
    Rule(
        "many",
        gettext_lazy("Far more than ever here"),
        gettext_lazy("Over ten times the most in any approved visit to the site: perhaps a digit too many."),
        Severity.FINDING,
        COMMON,
        _many,
    ),
    Rule(
        "new_here",
        gettext_lazy("Never found here before"),
        gettext_lazy(
            "Once a site has five approved visits: look-alikes are commoner than newcomers. Ask for a photo."
        ),
        Severity.FINDING,
        COMMON,
        _new_here,
    ),
)
