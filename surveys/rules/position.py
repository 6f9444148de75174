"""The rule about where a visit was made."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from surveys.measuring.quantities import COMMON
from surveys.rules.types import Context, Remarks, Rule, Severity
from surveys.submission.types import Submission
from surveys.visits.positions import Standing, distance_words, standing


def _position_far(submission: Submission, context: Context) -> Remarks:
    if submission.position is None or not submission.was_made:
        return
    found = standing(submission.position, context.site, context.others)
    if found.is_doubtful:
        yield "position", _question(found, context.site.code)


def _question(found: Standing, code: str) -> str:
    words = {"distance": distance_words(found.metres), "site": code, "other": found.other}
    if found.other:
        return _("The position lies %(distance)s from %(site)s. Is this a visit of %(other)s?") % words
    return _("The position lies %(distance)s from %(site)s. Is it the right site?") % words


POSITION_RULES = (
    Rule(
        "position_far",
        gettext_lazy("Position away from the site"),
        gettext_lazy(
            "The confirmed position of phone or picture lies more than 250 m from the site, beyond its own "
            "accuracy and that of the site's place, or clearly nearer to another site of the group. Where the "
            "accuracy is not known, 100 m are allowed for."
        ),
        Severity.FINDING,
        COMMON,
        _position_far,
    ),
)
