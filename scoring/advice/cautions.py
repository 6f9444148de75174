"""What has to be said beside the figures of trigger advice, in sentences."""

from collections.abc import Iterator, Sequence
from datetime import date

from scoring.advice.suggesting import visits_needed
from scoring.baseline import PROVISIONAL_BELOW, Baseline, chance_next_lowest
from scoring.sentences import ALL_ALIKE, BASELINE_MOVES, TOO_FEW_VISITS, WISH_TOO_RARE
from scoring.trend import seasonal_kendall

DatedScores = Sequence[tuple[date, float]]


def cautions_of(
    scores: DatedScores, baseline: Baseline, visits_per_year: float, wanted: float | None
) -> tuple[str, ...]:
    """Return the sentences, the gravest first."""
    rarest = chance_next_lowest(baseline.n) * visits_per_year
    sentences = (
        *_about_number(baseline),
        *_about_wish(baseline, rarest, wanted, visits_per_year),
        *_about_spread(baseline),
        *_about_trend(scores),
    )
    return tuple(sentences)


def _about_number(baseline: Baseline) -> Iterator[str]:
    if baseline.is_provisional:
        yield TOO_FEW_VISITS.format(visits=baseline.n, least=PROVISIONAL_BELOW)


def _about_wish(baseline: Baseline, rarest: float, wanted: float | None, visits: float) -> Iterator[str]:
    # A hair's breadth, so that one in n + 1 itself can be told.
    if wanted is not None and wanted < rarest * (1 - 1e-9):
        yield WISH_TOO_RARE.format(
            visits=baseline.n,
            wanted=f"{wanted:.3g}",
            rarest=f"{rarest:.3g}",
            needed=visits_needed(wanted / visits),
        )


def _about_spread(baseline: Baseline) -> Iterator[str]:
    if baseline.n > 1 and baseline.lowest == baseline.highest:
        yield ALL_ALIKE


def _about_trend(scores: DatedScores) -> Iterator[str]:
    trend = seasonal_kendall(scores)
    if trend.is_clear and not trend.is_uncertain:
        yield BASELINE_MOVES.format(direction=trend.direction, p=f"{trend.p:.3f}")
