"""What the shell reads: visits sent back to a person, and what everybody may see of a site."""

from __future__ import annotations

from typing import Any

import pytest

from portal.queries import PublicRow, approved_visits, latest_approved, returned_to
from surveys.models import Visit, VisitScore
from surveys.models.visits import Status
from surveys.sheets import scores_of
from tests.conftest import Cast
from tests.factories import SiteFactory, VisitFactory, days_ago

pytestmark = pytest.mark.django_db

NOT_MADE: dict[str, Any] = {"was_made": False, "not_made_reason": "too_high"}


def visit(cast: Cast, day: int, status: str = Status.APPROVED, **fields: Any) -> Visit:
    checked = {"reviewed_by": cast.coordinator} if status == Status.APPROVED else {}
    usual = {"site": cast.site, "visited_on": days_ago(day), "status": status}
    made: Visit = VisitFactory(**usual | checked | fields)
    return made


def scored(cast: Cast, day: int, bmwp: float | None, *, is_current: bool = True, **fields: Any) -> Visit:
    made = visit(cast, day, **fields)
    add_score(made, bmwp, is_current=is_current)
    return made


def add_score(of: Visit, bmwp: float | None, **fields: Any) -> None:
    VisitScore.objects.create(visit=of, **{"index": "bmwp", "version": "1980-table-1", "value": bmwp} | fields)


def values(row: PublicRow) -> dict[str, float | None]:
    return {score.index: score.value for score in scores_of(row.visit)} if row.visit else {}


@pytest.mark.parametrize(("who", "is_theirs"), [("recorder", True), ("entered_by", True), ("partner", False)])
def test_a_returned_visit_goes_to_whoever_can_mend_it(cast: Cast, who: str, is_theirs: bool) -> None:
    sent_back = visit(cast, 3, Status.RETURNED, **{who: cast.volunteer})
    found = list(returned_to(cast.person("volunteer"), cast.group))
    assert found == ([sent_back] if is_theirs else [])


@pytest.mark.parametrize("status", [Status.WAITING, Status.APPROVED])
def test_only_what_was_returned_is_sent_back(cast: Cast, status: str) -> None:
    visit(cast, 3, status, recorder=cast.volunteer)
    assert list(returned_to(cast.person("volunteer"), cast.group)) == []


def test_one_visit_that_a_person_recorded_and_typed_is_sent_back_once(cast: Cast) -> None:
    own = visit(cast, 3, Status.RETURNED, recorder=cast.volunteer, entered_by=cast.volunteer)
    assert list(returned_to(cast.person("volunteer"), cast.group)) == [own]


def test_nothing_of_another_group_is_sent_back_here(cast: Cast) -> None:
    visit(cast, 3, Status.RETURNED, site=cast.neighbour_site, recorder=cast.volunteer)
    assert list(returned_to(cast.person("volunteer"), cast.group)) == []


def test_a_site_shows_its_approved_visits_newest_first(cast: Cast) -> None:
    old, new = visit(cast, 40), visit(cast, 4)
    not_made = visit(cast, 10, **NOT_MADE)
    visit(cast, 1, Status.WAITING)
    visit(cast, 2, Status.RETURNED)
    assert list(approved_visits(cast.site)) == [new, not_made, old]


def test_the_latest_is_the_day_of_the_visit_and_not_of_its_approval(cast: Cast) -> None:
    scored(cast, 40, 48)
    scored(cast, 4, 12)
    scored(cast, 60, 99)
    (row,) = latest_approved(cast.group)
    assert (row.site, values(row)) == (cast.site, {"bmwp": 12})
    assert row.visit is not None
    assert row.visit.visited_on == days_ago(4)


@pytest.mark.parametrize("unseen", [{"status": Status.WAITING}, {"status": Status.RETURNED}, NOT_MADE])
def test_what_is_not_approved_or_was_not_made_is_passed_over(cast: Cast, unseen: dict[str, Any]) -> None:
    scored(cast, 40, 48)
    scored(cast, 4, 12, **unseen)
    (row,) = latest_approved(cast.group)
    assert row.visit is not None
    assert (row.visit.visited_on, values(row)) == (days_ago(40), {"bmwp": 48})


def test_a_site_without_a_result_is_listed_with_nothing(cast: Cast) -> None:
    (row,) = latest_approved(cast.group)
    assert (row.site, row.visit) == (cast.site, None)


def test_a_score_that_was_replaced_is_not_shown(cast: Cast) -> None:
    made = scored(cast, 4, 48, is_current=False)
    add_score(made, 52, version="another")
    (row,) = latest_approved(cast.group)
    assert values(row) == {"bmwp": 52}
    assert [score.value for score in scores_of(approved_visits(cast.site)[0])] == [52]


def test_a_score_that_is_not_defined_stays_apart_from_zero(cast: Cast) -> None:
    made = scored(cast, 4, 0)
    add_score(made, None, index="aspt")
    (row,) = latest_approved(cast.group)
    assert values(row) == {"bmwp": 0, "aspt": None}


def test_each_site_has_one_row_of_its_own_group(cast: Cast) -> None:
    other = SiteFactory(group=cast.group, code="AB2")
    scored(cast, 5, 30, site=other)
    scored(cast, 5, 31, site=cast.neighbour_site)
    assert {row.site.code: values(row) for row in latest_approved(cast.group)} == {
        "AB1": {},
        "AB2": {"bmwp": 30},
    }


def test_it_takes_four_queries_for_any_number_of_sites(cast: Cast, django_assert_num_queries: Any) -> None:
    for number in range(7):
        scored(cast, 5, 30, site=SiteFactory(group=cast.group, code=f"C{number}"))
    with django_assert_num_queries(4):
        assert len(latest_approved(cast.group)) == 8
