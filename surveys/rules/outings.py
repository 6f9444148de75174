"""Rules about what was taken along."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from surveys.measuring.quantities import COMMON
from surveys.rules.types import Context, Remarks, Rule, Severity
from surveys.submission.types import Submission


def _unknown_kit(submission: Submission, context: Context) -> Remarks:
    if submission.kit is not None and context.kit is None:
        yield "kit", _("Choose one of your group's kits.")


def _kit_uncleaned(submission: Submission, context: Context) -> Remarks:
    if not submission.was_made or context.kit is None:
        return
    warning = context.kit.warning(context.site, submission.visited_on)
    if warning:
        yield "kit", warning


OUTING_RULES = (
    Rule(
        "unknown_kit",
        gettext_lazy("Unknown kit"),
        gettext_lazy("A kit is one of the group's own."),
        Severity.ERROR,
        COMMON,
        _unknown_kit,
    ),
    Rule(
        "kit_uncleaned",
        gettext_lazy("Kit from another water"),
        gettext_lazy(
            "The kit came from another catchment, and no cleaning since is known: hot water, disinfectant by "
            "local rules, or the group's days of drying. Plants, animals and disease travel on wet kit."
        ),
        Severity.FINDING,
        gettext_lazy(
            "Anderson et al. 2015, doi 10.1007/s10530-015-0875-6, on hot water and drying; the days are common "
            "practice, no source."
        ),
        _kit_uncleaned,
    ),
)
