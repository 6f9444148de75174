"""A visit beside the site's earlier ones, and who had a part in it."""

from __future__ import annotations

import pytest

from surveys.comparing.visits import EARLIER_VISITS, TaxonRow, compare_visit, part_taken
from surveys.models import Visit
from tests.conftest import Cast
from tests.factories import SiteFactory, TaxonCountFactory, VisitFactory, days_ago, person_for


def visit_with(cast: Cast, day: int, **counts: int) -> Visit:
    visit = VisitFactory(site=cast.site, visited_on=days_ago(day))
    for taxon, count in counts.items():
        TaxonCountFactory(visit=visit, taxon=taxon, count=count)
    return visit


def rows_of(visit: Visit) -> dict[str, TaxonRow]:
    return {row.taxon: row for row in compare_visit(visit).taxa}


def test_it_compares_with_the_last_visits_newest_first(cast: Cast) -> None:
    earlier = [visit_with(cast, day) for day in (10, 20, 30, 40, 50, 60)]
    visit = visit_with(cast, 1)
    assert list(compare_visit(visit).visits) == [visit, *earlier[:EARLIER_VISITS]]


def test_it_compares_with_nothing_at_another_site(cast: Cast) -> None:
    VisitFactory(site=SiteFactory(group=cast.group), visited_on=days_ago(9))
    assert not compare_visit(visit_with(cast, 1)).has_earlier


def test_it_remarks_on_a_taxon_that_is_missing_where_it_was_usual(cast: Cast) -> None:
    visit_with(cast, 20, Baetidae=4)
    visit_with(cast, 10, Baetidae=7)
    row = rows_of(visit_with(cast, 1, Elmidae=1))["Baetidae"]
    assert row.counts == ("–", "7", "4")
    assert row.remark == "missing now; found at 2 of the last 2"


def test_it_takes_looked_for_and_none_for_missing_too(cast: Cast) -> None:
    visit_with(cast, 10, Baetidae=7)
    row = rows_of(visit_with(cast, 1, Baetidae=0))["Baetidae"]
    assert row.counts == ("none", "7")
    assert row.remark.startswith("missing now")


def test_it_remarks_on_a_taxon_that_is_new(cast: Cast) -> None:
    visit_with(cast, 10, Elmidae=7)
    rows = rows_of(visit_with(cast, 1, Elmidae=3, Asellidae=2))
    assert rows["Asellidae"].remark == "not found at the last 1 visits"
    assert rows["Elmidae"].remark == ""


@pytest.mark.parametrize(("times", "is_shown"), [(2, True), (1, False)])
def test_it_shows_a_missing_taxon_only_when_half_of_the_visits_had_it(
    cast: Cast, times: int, is_shown: bool
) -> None:
    for number in range(4):
        visit_with(cast, 10 + number, **({"Baetidae": 5} if number < times else {"Elmidae": 1}))
    assert ("Baetidae" in rows_of(visit_with(cast, 1, Elmidae=1))) is is_shown


def test_it_remarks_on_nothing_at_a_first_visit(cast: Cast) -> None:
    assert rows_of(visit_with(cast, 1, Elmidae=1))["Elmidae"].remark == ""


class TestPartTaken:
    def test_it_says_how_somebody_was_involved(self, cast: Cast) -> None:
        visit = VisitFactory(
            site=cast.site, recorder=cast.coordinator, partner=cast.volunteer, entered_by=cast.other_volunteer
        )
        visit.corrected_by.add(cast.second_coordinator)
        assert part_taken(person_for(cast.coordinator), visit) == ["you recorded it"]
        assert part_taken(person_for(cast.volunteer), visit) == ["you were the partner"]
        assert part_taken(person_for(cast.other_volunteer), visit) == ["you sent it in"]
        assert part_taken(person_for(cast.second_coordinator), visit) == ["you corrected it"]

    def test_it_agrees_with_the_rule_that_keeps_people_from_approving(self, cast: Cast) -> None:
        visit = VisitFactory(site=cast.site, recorder=cast.volunteer, entered_by=cast.volunteer)
        for user in (cast.volunteer, cast.coordinator, cast.other_volunteer):
            person = person_for(user)
            assert bool(part_taken(person, visit)) is (person.user_id in visit.involved_user_ids)
