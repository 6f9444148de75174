"""The first visits of a sheet as they would be stored, with their scores; nothing is written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from portal.accounts.models import Group, User
from scoring.indices import METHODS, Score, score_sample
from surveys.importing.checking import CheckedSheet
from surveys.lists.recording import LEADING, reasons_of
from surveys.models import Site
from surveys.scores.judging import read_counts
from surveys.submission import Submission
from surveys.submission.types import Entry

VISITS_SHOWN = 5


@dataclass(frozen=True)
class Preview:
    """One visit to be: site, recorder, what was found, and (index, figure) by importance."""

    site: Site
    submission: Submission
    recorder: str
    scores: tuple[tuple[str, str], ...]

    @property
    def entries(self) -> Sequence[Entry]:
        return self.submission.counts


def preview_of(group: Group, checked: CheckedSheet) -> list[Preview]:
    """The first visits that would be loaded."""
    first = checked.submissions[:VISITS_SHOWN]
    rows = Site.objects.of_group(group).filter(pk__in={each.site for each in first})
    sites = {site.pk: site for site in rows.select_related("recording_list")}
    people = User.objects.filter(pk__in={each.recorder for each in first if each.recorder})
    names = {person.pk: person.name for person in people}
    return [
        Preview(
            site=sites[each.site],
            submission=each,
            recorder=names[each.recorder] if each.recorder else each.recorder_name,
            scores=_scores(sites[each.site], each),
        )
        for each in first
    ]


def _scores(site: Site, submission: Submission) -> tuple[tuple[str, str], ...]:
    """The leading scores that the site's list can support, as they will be saved."""
    if not submission.was_made:
        return ()
    scores = score_sample(read_counts(submission.counts, submission.fraction_sorted))
    reasons = reasons_of(site.recording_list)
    told = [scores[index] for index in LEADING if index in scores and not reasons[index]]
    return tuple((METHODS[each.index].name, _figure(each)) for each in told if each.value is not None)


def _figure(score: Score) -> str:
    return f"{score.value:.{METHODS[score.index].decimals}f}"
