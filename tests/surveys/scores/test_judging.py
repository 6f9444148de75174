"""Scoring a visit: what is handed to `scoring`, and what is kept of its answer."""

from __future__ import annotations

from typing import Any

import pytest

from scoring.indices import METHODS
from surveys.models import Visit, VisitScore
from surveys.scores.judging import scored_name
from surveys.scores.scored import rescore_visit, score_visits
from surveys.submission import Entry
from tests.conftest import Cast
from tests.factories import VisitFactory, submit

CLEAN = [Entry("Heptageniidae", count=4), Entry("Baetidae", count=3), Entry("Chironomidae", count=3)]


@pytest.fixture
def visit(cast: Cast) -> Visit:
    made: Visit = VisitFactory(site=cast.site)
    return made


def scores_of(visit: Visit) -> dict[str, VisitScore]:
    return {score.index: score for score in visit.scores.filter(is_current=True)}


def test_it_keeps_every_method_that_scoring_knows(visit: Visit) -> None:
    score_visits([(visit, CLEAN)])
    assert set(scores_of(visit)) == set(METHODS)


def test_it_keeps_the_version_of_each_method(visit: Visit) -> None:
    score_visits([(visit, CLEAN)])
    assert {index: score.version for index, score in scores_of(visit).items()} == {
        index: method.version for index, method in METHODS.items()
    }


def test_it_counts_only_presence_for_bmwp(visit: Visit) -> None:
    # 10 + 4 + 2 over three families.
    score_visits([(visit, CLEAN)])
    few = {index: scores_of(visit)[index].value for index in ("bmwp", "ntaxa", "aspt")}
    assert few == {"bmwp": 16, "ntaxa": 3, "aspt": pytest.approx(16 / 3)}


def test_it_gives_simpson_and_shannon_of_the_counts(visit: Visit) -> None:
    # Two taxa of equal number: 1 - 2 * 0.25 = 0.5, and ln 2 = 0.693147.
    score_visits([(visit, [Entry("Baetidae", count=5), Entry("Elmidae", count=5)])])
    assert scores_of(visit)["simpson"].value == pytest.approx(0.5)
    assert scores_of(visit)["shannon"].value == pytest.approx(0.693147, abs=1e-6)


def test_it_does_not_score_what_was_looked_for_and_not_found(visit: Visit) -> None:
    score_visits([(visit, [Entry("Baetidae", count=5), Entry("Perlidae", count=0)])])
    assert scores_of(visit)["bmwp"].value == 4


def test_it_says_why_there_is_no_mean_in_an_empty_tray(visit: Visit) -> None:
    score_visits([(visit, [Entry("Baetidae", count=0)])])
    found = scores_of(visit)
    assert found["bmwp"].value == 0
    assert found["aspt"].value is None
    assert found["aspt"].why_none


def test_it_gives_the_span_that_ranges_leave(visit: Visit) -> None:
    score_visits([(visit, [Entry("Baetidae", low=10, high=99), Entry("Elmidae", count=5)])])
    found = scores_of(visit)["simpson"]
    assert found.low is not None
    assert found.value is not None
    assert found.high is not None
    assert found.low <= found.value <= found.high


def test_it_gives_no_span_for_exact_counts(visit: Visit) -> None:
    score_visits([(visit, CLEAN)])
    assert (scores_of(visit)["simpson"].low, scores_of(visit)["simpson"].high) == (None, None)


def test_it_scores_nothing_of_a_visit_not_made(cast: Cast) -> None:
    gap = VisitFactory(site=cast.site, was_made=False, not_made_reason="too_high")
    assert score_visits([(gap, [])]) == {gap.pk: {}}
    assert not gap.scores.exists()


def test_it_keeps_earlier_scores_as_history(visit: Visit) -> None:
    score_visits([(visit, CLEAN)])
    rescore_visit(visit, CLEAN[:1])
    bmwp = visit.scores.filter(index="bmwp").order_by("pk")
    assert [(score.value, score.is_current) for score in bmwp] == [(16, False), (10, True)]


def test_it_touches_no_other_visits_scores(visit: Visit, cast: Cast) -> None:
    other = submit(cast.person("volunteer"), cast.site)
    score_visits([(visit, CLEAN)])
    rescore_visit(visit, CLEAN[:1])
    assert other.scores.get(index="bmwp").is_current


@pytest.mark.parametrize(
    ("entry", "name"),
    [
        (Entry("Baetidae"), "Baetidae"),
        (Entry("Baetidae", "Baetis rhodani"), "Baetis rhodani"),
        (Entry("Gammaridae", "Freshwater shrimp"), "Gammaridae"),
        (Entry("Baetidae", "the small brown ones"), "Baetidae"),
        # The two contradict each other; the taxon that was chosen counts.
        (Entry("Baetidae", "Gammarus pulex"), "Baetidae"),
    ],
)
def test_it_scores_by_the_finest_name_that_is_known(entry: Entry, name: str) -> None:
    assert scored_name(entry) == name


def test_it_counts_kinds_of_one_family_apart_only_for_diversity(visit: Visit) -> None:
    kinds: list[Any] = [Entry("Baetidae", name, count=5) for name in ("Baetis rhodani", "Baetis muticus")]
    score_visits([(visit, kinds)])
    found = scores_of(visit)
    assert (found["ntaxa"].value, found["richness"].value) == (1, 2)
