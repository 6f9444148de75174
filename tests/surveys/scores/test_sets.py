"""Many stored visits scored together: what is kept is what the plain way keeps of each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID, uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scoring.indices import METHODS
from surveys.lists.recording import reasons_by_list, reasons_of
from surveys.models import RecordingList, TaxonCount, Visit, VisitScore
from surveys.scores.scored import score_visits
from surveys.scores.sets import Stored, among, score_stored, write_scores
from surveys.services.built_in_lists import ensure_bankside_list
from surveys.submission.types import Entry
from tests.conftest import Cast
from tests.factories import VisitFactory, submit

pytestmark = pytest.mark.django_db
KEPT = ("index", "version", "low", "high", "why_none", "left_out", "is_current")

# Joined families, wider groups, a genus and a species, an English name, free text, an arthropod and a worm.
TAXA = (
    ("Baetidae", ""),
    ("Baetidae", "Baetis rhodani"),
    ("Baetidae", "the brown ones"),
    ("Heptageniidae", ""),
    ("Perlidae", "Dinocras"),
    ("Gammaridae", "Freshwater shrimp"),
    ("Oligochaeta", ""),
    ("Chironomidae", ""),
    ("Trichoptera", ""),
    ("Hydrobiidae", ""),
)
exact = st.builds(lambda number: {"count": number}, st.sampled_from([0, 1, 9, 10, 99, 250]))
odd = st.sampled_from([{"low": 1, "high": 9}, {"low": 1000, "high": None}, {}])


def lines(numbers: Any) -> Any:
    """Some taxa, each once, with what was recorded of it."""
    return st.dictionaries(st.sampled_from(TAXA), numbers, max_size=6).map(
        lambda found: [Entry(taxon, finer, **number) for (taxon, finer), number in found.items()]
    )


def kept(visit: Visit) -> list[tuple[Any, ...]]:
    rows = visit.scores.filter(is_current=True).order_by("index")
    return [tuple(getattr(each, name) for name in KEPT) for each in rows]


def values(visit: Visit) -> dict[str, float | None]:
    return dict(visit.scores.filter(is_current=True).values_list("index", "value"))


def saved(cast: Cast, entries: Sequence[Entry], **more: Any) -> Visit:
    visit: Visit = VisitFactory(site=cast.site, entered_by=cast.volunteer, **more)
    TaxonCount.objects.bulk_create(
        TaxonCount(
            visit=visit,
            taxon=each.taxon,
            recorded_as=each.recorded_as,
            count=each.count,
            low=each.low,
            high=each.high,
            whole_tray=each.whole_tray,
        )
        for each in entries
    )
    return visit


def stored(visit: Visit, indices: Sequence[str] = tuple(METHODS)) -> Stored:
    return Stored(visit.pk, visit.recording_list_id, visit.fraction_sorted, indices)


def score_all(cast: Cast, *found: Visit) -> None:
    write_scores(score_stored(cast.group, [stored(each) for each in found]))


def assert_as_one_by_one(cast: Cast, trays: Sequence[Sequence[Entry]], **more: Any) -> None:
    pairs = [(saved(cast, tray, **more), saved(cast, tray, **more), tray) for tray in trays]
    score_all(cast, *(together for together, _, _ in pairs))
    for together, alone, tray in pairs:
        score_visits([(alone, tray)])
        assert kept(together) == kept(alone)
        assert values(together) == pytest.approx(values(alone))


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(lines(exact), min_size=1, max_size=4))
def test_it_keeps_of_exact_counts_what_the_plain_way_keeps(cast: Cast, trays: list[list[Entry]]) -> None:
    assert_as_one_by_one(cast, trays)


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(lines(exact | odd), min_size=1, max_size=3))
def test_it_keeps_of_ranges_among_them_what_the_plain_way_keeps(cast: Cast, trays: list[list[Entry]]) -> None:
    assert_as_one_by_one(cast, trays)


def test_it_keeps_of_a_sorted_share_what_the_plain_way_keeps(cast: Cast) -> None:
    tray = [Entry("Baetidae", count=12), Entry("Perlidae", count=2, whole_tray=True)]
    assert_as_one_by_one(cast, [tray, []], fraction_sorted="1/4")


def test_it_keeps_of_a_list_that_supports_little_what_the_plain_way_keeps(cast: Cast) -> None:
    tray = [Entry("Plecoptera", count=3), Entry("Oligochaeta", count=40)]
    assert_as_one_by_one(cast, [tray, []], recording_list=ensure_bankside_list())


def test_it_scores_visits_without_a_line_as_empty_trays(cast: Cast) -> None:
    visit = saved(cast, [])
    score_all(cast, visit)
    assert (values(visit)["bmwp"], values(visit)["aspt"]) == (0, None)


def test_it_scores_only_what_each_visit_asks_for(cast: Cast) -> None:
    first, second = (saved(cast, [Entry("Baetidae", count=3)]) for _ in range(2))
    fresh = score_stored(cast.group, [stored(first, ["bmwp"]), stored(second, ["ntaxa", "shannon"])])
    assert [(row[0], row[1]) for row in fresh] == [
        (first.pk, "bmwp"),
        (second.pk, "ntaxa"),
        (second.pk, "shannon"),
    ]


def test_it_scores_nothing_for_nobody(cast: Cast) -> None:
    assert score_stored(cast.group, []) == []
    write_scores([])
    assert not VisitScore.objects.of_group(cast.group).exists()


def test_it_reads_no_counts_of_another_group(cast: Cast) -> None:
    other = submit(cast.person("neighbour_volunteer"), cast.neighbour_site)
    fresh = score_stored(cast.group, [stored(other, ["bmwp"])])
    # Read through the group's own rows only, the other group's tray is empty.
    assert [row[3] for row in fresh] == [0]


@pytest.mark.parametrize("count", [1, 4])
def test_it_reads_many_visits_in_as_many_queries_as_one(
    cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    found = [stored(saved(cast, [Entry("Baetidae", count=3)])) for _ in range(count)]
    with django_assert_num_queries(3):
        score_stored(cast.group, found)


@pytest.mark.parametrize("name", ["Tab\there", "back\\slash \\N", "line\nbreak", '"quoted" “words”', "ünï 🦋"])
def test_it_writes_any_name_as_it_was_recorded(cast: Cast, name: str) -> None:
    visit = saved(cast, [Entry("Baetidae", count=3)])
    TaxonCount.objects.of_group(cast.group).filter(visit=visit).update(taxon=name)
    score_all(cast, visit)
    assert visit.scores.get(index="bmwp").left_out == [" ".join(name.split())]


def test_it_writes_scores_in_force_with_their_time(cast: Cast) -> None:
    visit = saved(cast, [Entry("Baetidae", count=3)])
    score_all(cast, visit)
    first = visit.scores.get(index="bmwp")
    assert (first.value, first.is_current, first.version) == (4, True, METHODS["bmwp"].version)
    assert first.scored_at >= visit.submitted_at


def test_it_finds_rows_by_many_numbers_and_by_none(cast: Cast) -> None:
    first, second, _ = (saved(cast, []) for _ in range(3))
    rows = Visit.objects.of_group(cast.group)
    assert {each.pk for each in among(rows, "pk", [first.pk, second.pk, uuid4()])} == {first.pk, second.pk}
    assert not among(rows, "pk", list[UUID]()).exists()


def test_it_knows_what_every_version_of_every_list_supports(cast: Cast, django_assert_num_queries: Any) -> None:
    bankside = ensure_bankside_list()
    empty = RecordingList.objects.create(group=cast.group, slug="x", name="x", level="family")
    elsewhere = RecordingList.objects.create(group=cast.neighbour, slug="x", name="x", level="family")
    with django_assert_num_queries(1):
        found = reasons_by_list(cast.group)
    assert found[bankside.pk] == reasons_of(bankside)
    assert found[cast.site.recording_list_id] == reasons_of(cast.site.recording_list)
    assert all(found[empty.pk].values())
    assert elsewhere.pk not in found
