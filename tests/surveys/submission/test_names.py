"""Names of taxa on their way through a submission: as written, as matched, as scored, as given back."""

from __future__ import annotations

from typing import Any

import pytest

from surveys.models import Visit
from surveys.submission import InvalidSubmission, parse_submission, submission_data
from tests.conftest import Cast
from tests.factories import data_for, submit


def counted(cast: Cast, **counts: int) -> Visit:
    return submit(
        cast.person("volunteer"), cast.site, counts={key.replace("_", " "): n for key, n in counts.items()}
    )


def scores(visit: Visit) -> dict[str, Any]:
    return {score.index: score.value for score in visit.scores.filter(is_current=True)}


@pytest.mark.parametrize(
    "written", ["Gammaridae", "GAMMARIDAE", "freshwater shrimp", "Gammarus pulex", "gammarus sp."]
)
def test_it_scores_every_way_of_naming_a_family(cast: Cast, written: str) -> None:
    """The freshwater shrimps score 6 in the published BMWP table."""
    visit = submit(cast.person("volunteer"), cast.site, counts={written: 7})
    assert visit.counts.get().taxon == "Gammaridae"
    assert scores(visit)["bmwp"] == 6


@pytest.mark.parametrize("written", ["freshwater shrimp", "Gammarus pulex", "gammarus sp."])
def test_it_keeps_the_name_as_it_was_written(cast: Cast, written: str) -> None:
    visit = submit(cast.person("volunteer"), cast.site, counts={written: 7})
    assert visit.counts.get().recorded_as == written
    assert submission_data(visit)["counts"] == [{"taxon": "Gammaridae", "recorded_as": written, "count": "7"}]


def test_it_joins_families_that_the_table_joins(cast: Cast) -> None:
    """Crangonyctidae count with Gammaridae (grouping of the table, from memory): 6 once, not twice."""
    visit = counted(cast, Gammaridae=3, Crangonyctidae=4)
    assert (scores(visit)["bmwp"], scores(visit)["ntaxa"]) == (6, 1)


def test_it_matches_an_older_name_of_a_family(cast: Cast) -> None:
    """Agriidae is an older name of Calopterygidae, which score 8."""
    visit = counted(cast, Agriidae=2)
    assert visit.counts.get().taxon == "Calopterygidae"
    assert scores(visit)["bmwp"] == 8


def test_it_says_which_names_an_index_could_not_use(cast: Cast) -> None:
    visit = counted(cast, Baetidae=2, Hydracarina=5, water_flea=9)
    left_out = visit.scores.get(index="bmwp").left_out
    assert sorted(left_out) == ["Cladocera", "Hydracarina"]
    assert visit.scores.get(index="richness").value == 3


def test_it_takes_an_order_where_no_family_was_told(cast: Cast) -> None:
    visit = counted(cast, Plecoptera=4)
    assert visit.counts.get().taxon == "Plecoptera"
    assert scores(visit)["bmwp"] == 0
    assert visit.scores.get(index="bmwp").left_out == ["Plecoptera"]


def test_it_never_drops_a_name_it_does_not_know(cast: Cast) -> None:
    with pytest.raises(InvalidSubmission) as refused:
        counted(cast, Baetidae=2, River_monster=1)
    assert [each.field for each in refused.value.problems] == ["counts.River monster"]


def test_it_reads_its_own_names_back(cast: Cast) -> None:
    data = data_for(cast.site, counts={"Gammarus pulex": 3, "caddis fly": 1, "Baetidae": 0})
    once = parse_submission(data)
    again = parse_submission(
        data
        | {
            "counts": [
                {"taxon": entry.taxon, "recorded_as": entry.recorded_as, "count": entry.count}
                for entry in once.counts
            ]
        }
    )
    assert again == once


def test_it_keeps_free_words_beside_a_chosen_taxon(cast: Cast) -> None:
    rows = [{"taxon": "Baetidae", "recorded_as": "the small brown ones", "count": "4"}]
    visit = submit(cast.person("volunteer"), cast.site, counts=rows)
    assert visit.counts.get().recorded_as == "the small brown ones"
    assert scores(visit)["bmwp"] == 4


def test_it_says_at_which_name_something_is_wrong(cast: Cast) -> None:
    rows = [
        {"taxon": "Baetidae", "recorded_as": "Baetis rhodani", "count": "4"},
        {"taxon": "Baetidae", "recorded_as": "Baetis muticus", "count": "four"},
    ]
    with pytest.raises(InvalidSubmission) as refused:
        submit(cast.person("volunteer"), cast.site, counts=rows)
    assert [each.field for each in refused.value.problems] == ["counts.Baetis muticus"]


@pytest.mark.parametrize("length", [120, 121])
def test_it_has_room_for_long_names(cast: Cast, length: int) -> None:
    rows = [{"taxon": "Baetidae", "recorded_as": "x" * length, "count": "4"}]
    data = data_for(cast.site, counts=rows)
    if length == 120:
        assert parse_submission(data).counts[0].recorded_as == "x" * 120
        return
    with pytest.raises(InvalidSubmission, match="120"):
        parse_submission(data)
