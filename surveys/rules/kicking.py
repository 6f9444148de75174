"""Rules about the effort made."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from surveys.measuring.quantities import COMMON
from surveys.rules.types import Context, Remarks, Rule, Severity
from surveys.submission.numbers import plain_text
from surveys.submission.types import Submission
from surveys.visits.effort import EFFORT_PROBLEMS, deviations, spots_of

LONGEST_KICK = 120
DEEPEST_CM = 150
DEEP_CM = 50
SHALLOW_CM = 1


def _off_plan(submission: Submission, context: Context) -> Remarks:
    if not submission.was_made:
        return
    for each in deviations(spots_of(submission), context.site):
        yield (
            each.field,
            _("Off the plan: %(what)s (%(done)s, planned %(planned)s).")
            % {
                "what": EFFORT_PROBLEMS[each.code],
                "done": plain_text(each.done.quantize(Decimal("0.1"))),
                "planned": plain_text(each.planned),
            },
        )


def _kick_length(submission: Submission, context: Context) -> Remarks:
    # Agencies kick for three minutes at once, so the plan may ask for more than the usual limit.
    longest = max(LONGEST_KICK, 2 * context.site.seconds_per_kick)
    for spot in submission.spots:
        if not 0 < spot.seconds / spot.kicks <= longest:
            yield (
                f"{spot.field}.seconds",
                _("Give the seconds of all kicks at this spot: over 0, and at most %(longest)s a kick.")
                % {"longest": longest},
            )


def _spot_twice(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    seen = Counter(spot.number for spot in submission.spots)
    for number in (number for number, times in seen.items() if times > 1):
        yield f"spots.{number}.number", _("Spot %(number)s is entered twice.") % {"number": number}


def _depth(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    for spot in submission.spots:
        if spot.depth_cm is not None and not 0 < spot.depth_cm <= DEEPEST_CM:
            yield (
                f"{spot.field}.depth_cm",
                _("Give the depth in cm: more than 0, at most %(most)s.") % {"most": DEEPEST_CM},
            )


def _deep(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    for spot in submission.spots:
        if spot.depth_cm is not None and DEEP_CM < spot.depth_cm <= DEEPEST_CM:
            yield (
                f"{spot.field}.depth_cm",
                _("%(depth)s cm is deep for wading. Stay below knee depth, and follow your local rules.")
                % {"depth": plain_text(spot.depth_cm)},
            )


def _shallow(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    for spot in submission.spots:
        if spot.depth_cm is not None and 0 < spot.depth_cm < SHALLOW_CM:
            yield (
                f"{spot.field}.depth_cm",
                _("%(depth)s cm is hardly any water. Did you mean %(meant)s cm?")
                % {"depth": plain_text(spot.depth_cm), "meant": plain_text(100 * spot.depth_cm)},
            )


KICKING_RULES = (
    Rule(
        "effort_off_plan",
        gettext_lazy("Effort not standard"),
        gettext_lazy(
            "Scores compare only after the same effort: the site's spots and kicks, and times within 10 % of "
            "the plan. Counting 20 % too fast looks like a decline."
        ),
        Severity.FINDING,
        COMMON,
        _off_plan,
    ),
    Rule(
        "kick_length",
        gettext_lazy("Impossible kick"),
        gettext_lazy("A kick takes over 0 and at most 120 seconds, or twice the plan if that is more."),
        Severity.ERROR,
        COMMON,
        _kick_length,
    ),
    Rule(
        "spot_twice",
        gettext_lazy("Spot entered twice"),
        gettext_lazy("Each spot has one line."),
        Severity.ERROR,
        COMMON,
        _spot_twice,
    ),
    Rule(
        "depth_range",
        gettext_lazy("Impossible depth"),
        gettext_lazy("Nobody kick-samples deeper than 150 cm; it may be in another unit."),
        Severity.ERROR,
        COMMON,
        _depth,
    ),
    Rule(
        "deep",
        gettext_lazy("Deep for wading"),
        gettext_lazy("Over 50 cm the water pushes hard. Talk about safety with the pair."),
        Severity.FINDING,
        COMMON,
        _deep,
    ),
    Rule(
        "shallow",
        gettext_lazy("Hardly any water"),
        gettext_lazy("Under 1 cm nobody can kick-sample; the depth may have been read in metres."),
        Severity.FINDING,
        COMMON,
        _shallow,
    ),
)
