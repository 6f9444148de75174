"""Rules that hold a visit against the site's own past: seasons of its taxa, and its usual scores."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from statistics import median

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from scoring.indices import METHODS, score_sample
from surveys.comparing.seasons import months_around
from surveys.measuring.quantities import COMMON
from surveys.rules.hints import usual_at_site
from surveys.rules.types import Context, Remarks, Rule, Severity, SiteHistory
from surveys.scores.judging import read_counts
from surveys.submission.types import Entry, Submission
from surveys.texts.told import told

FINDS_TO_KNOW_A_SEASON = 8
VISITS_IN_THE_SEASON = 5
# Fewer than eight visits are called provisional elsewhere too: common practice, no source.
SCORES_NEEDED = 8
# One family more or less is no jump, at a site however steady: common practice, no source.
LEAST_SPREAD = 0.1


def _out_of_season(submission: Submission, context: Context) -> Remarks:
    season = frozenset(months_around(submission.visited_on.month))
    visits = sum(context.history.visits_by_month.get(month, 0) for month in season)
    # Nobody can be missed in months in which hardly anybody looked.
    if visits < VISITS_IN_THE_SEASON:
        return
    for entry in _only_in_other_months(submission.counts, season, context.history):
        yield (
            entry.field,
            _(
                "%(name)s was found here %(times)s times, but never in this part of the year (%(visits)s "
                "visits). A photo helps whoever checks it."
            )
            % {"name": entry.name, "times": len(context.history.months[entry.taxon]), "visits": visits},
        )


def _only_in_other_months(
    entries: Iterable[Entry], season: frozenset[int], history: SiteHistory
) -> Iterator[Entry]:
    for entry in entries:
        months = history.months.get(entry.taxon, ())
        if entry.is_present and len(months) >= FINDS_TO_KNOW_A_SEASON and season.isdisjoint(months):
            yield entry


def _score_jumps(submission: Submission, context: Context) -> Remarks:
    earlier, index = context.history.scores, context.history.score_index
    if not submission.was_made or not index or len(earlier) < SCORES_NEEDED:
        return
    counts = read_counts(submission.counts, submission.fraction_sorted)
    value = score_sample(counts, only={index})[index].value
    low, high = usual_at_site(earlier, LEAST_SPREAD)
    if value is not None and not low <= Decimal(str(value)) <= high:
        yield "counts", _score_words(value, earlier, index)


def _score_words(value: float, earlier: Sequence[float], index: str) -> str:
    words = _(
        "This makes %(index)s %(value)s; %(before)s. Was all of the sample sorted, and is it the right site?"
    )
    return words % {
        "index": told(METHODS[index].name),
        "value": f"{value:.3g}",
        "before": _before_words(value, earlier),
    }


def _before_words(value: float, earlier: Sequence[float]) -> str:
    low, high = f"{min(earlier):.3g}", f"{max(earlier):.3g}"
    # "Between 48 and 48" is how nobody says it.
    if low == high:
        return _("at this site it was always %(low)s so far") % {"low": low}
    # Once it was as far off as now, what it lay between is no news.
    if min(earlier) <= value <= max(earlier):
        return _("at this site it is usually about %(middle)s") % {"middle": f"{median(earlier):.3g}"}
    return _("at this site it was between %(low)s and %(high)s so far") % {"low": low, "high": high}


PAST_RULES = (
    Rule(
        "out_of_season",
        gettext_lazy("Never found here at this time of the year"),
        gettext_lazy(
            "A taxon with eight finds at the site, none of them in this month or the months beside it, though "
            "five approved visits were made then. Many insects are away from the water for part of the year; "
            "look-alikes are commoner than changed seasons."
        ),
        Severity.FINDING,
        COMMON,
        _out_of_season,
    ),
    Rule(
        "score_jumps",
        gettext_lazy("Score far from the site's history"),
        gettext_lazy(
            "The first index that the list supports lies further from the site's median than three times the "
            "spread of its middle half, once the site has eight approved scores. It may be pollution: alerts "
            "do not wait for this. It may also be the wrong site, a tray half sorted or a new recorder."
        ),
        Severity.FINDING,
        COMMON,
        _score_jumps,
    ),
)
