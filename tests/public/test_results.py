"""What maps, lists and profiles are made from: each site's latest visit, read at one go."""

from __future__ import annotations

from typing import Any

import pytest

from alerts.models import Trigger, Verdict
from portal.public.queries import approved_visits
from portal.public.results import Result, all_of, approved_of
from surveys.models import Visit, VisitScore
from surveys.models.visits import Status
from surveys.visits.sheets import scores_of
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


def judged(of: Visit, outcome: str, value: float | None, index: str = "aspt") -> None:
    trigger = Trigger.objects.create(
        group=of.group, site=of.site, index=index, level=5, valid_from=days_ago(99), reason="test"
    )
    has_one = outcome != "not_tested"
    Verdict.objects.create(
        group=of.group, visit=of, outcome=outcome, trigger=trigger if has_one else None, value=value
    )


def seen(cast: Cast) -> Result:
    (result,) = approved_of([cast.group])
    return result


def test_a_site_shows_its_approved_visits_newest_first(cast: Cast) -> None:
    old, new = visit(cast, 40), visit(cast, 4)
    not_made = visit(cast, 10, **NOT_MADE)
    visit(cast, 1, Status.WAITING)
    visit(cast, 2, Status.RETURNED)
    assert approved_visits(cast.site) == [new, not_made, old]


def test_the_latest_is_the_day_of_the_visit_and_not_of_its_approval(cast: Cast) -> None:
    scored(cast, 40, 48)
    scored(cast, 4, 12)
    scored(cast, 60, 99)
    assert (seen(cast).site, seen(cast).when, seen(cast).score) == (cast.site, days_ago(4), "BMWP 12")


@pytest.mark.parametrize("unseen", [{"status": Status.WAITING}, {"status": Status.RETURNED}, NOT_MADE])
def test_what_is_not_approved_or_was_not_made_is_passed_over(cast: Cast, unseen: dict[str, Any]) -> None:
    scored(cast, 40, 48)
    scored(cast, 4, 12, **unseen)
    assert (seen(cast).when, seen(cast).score) == (days_ago(40), "BMWP 48")


def test_members_see_what_waits(cast: Cast) -> None:
    scored(cast, 40, 48)
    scored(cast, 4, 12, status=Status.WAITING)
    (result,) = all_of(cast.group)
    assert result.score == "BMWP 12"


def test_a_site_without_a_result_is_listed_with_nothing(cast: Cast) -> None:
    assert seen(cast) == Result(cast.site, "unvisited")
    assert seen(cast).score == ""


def test_a_score_that_was_replaced_is_not_shown(cast: Cast) -> None:
    made = scored(cast, 4, 48, is_current=False)
    add_score(made, 52, version="another")
    assert seen(cast).score == "BMWP 52"
    assert [score.value for score in scores_of(approved_visits(cast.site)[0])] == [52]


def test_a_visit_without_any_score_says_so(cast: Cast) -> None:
    scored(cast, 4, None)
    assert (seen(cast).state, seen(cast).score) == ("unscored", "")


@pytest.mark.parametrize(("outcome", "state"), [("below", "below"), ("not_below", "normal")])
def test_a_verdict_tells_state_and_the_score_it_stood_on(cast: Cast, outcome: str, state: str) -> None:
    judged(scored(cast, 4, 48), outcome, 4.75)
    assert (seen(cast).state, seen(cast).score) == (state, "ASPT 4.75")


def test_what_was_not_tested_shows_its_score_and_no_verdict(cast: Cast) -> None:
    judged(scored(cast, 4, 48), "not_tested", None)
    assert (seen(cast).state, seen(cast).score) == ("untested", "BMWP 48")


@pytest.mark.parametrize(("days", "is_old"), [(45, False), (46, True)])
def test_a_visit_is_old_after_one_and_a_half_intervals(cast: Cast, days: int, is_old: bool) -> None:
    scored(cast, days, 48)
    assert cast.site.visit_interval_days == 30
    assert seen(cast).is_old is is_old


def test_each_site_has_one_row_of_its_own_group(cast: Cast) -> None:
    other = SiteFactory(group=cast.group, code="AB2")
    scored(cast, 5, 30, site=other)
    scored(cast, 5, 31, site=cast.neighbour_site)
    rows = {row.site.code: row.score for row in approved_of([cast.group])}
    assert rows == {"AB1": "", "AB2": "BMWP 30"}


def test_it_takes_two_queries_for_any_number_of_sites(cast: Cast, django_assert_max_num_queries: Any) -> None:
    """The second asks what recording lists support, unless the process knows already."""
    for number in range(7):
        scored(cast, 5, 30, site=SiteFactory(group=cast.group, code=f"C{number}"))
    with django_assert_max_num_queries(2):
        assert len(approved_of([cast.group])) == 8
