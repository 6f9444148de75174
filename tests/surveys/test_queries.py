"""Reading visits: within one group, in few queries, whatever their number."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from surveys.models import Site, Visit
from surveys.queries import number_waiting, site_history, sites_due, visits_of, visits_waiting
from surveys.services.visits import approve_visit, correct_visit, return_visit
from tests.conftest import Cast
from tests.factories import SiteFactory, VisitFactory, days_ago, submission_for, submit

TODAY = date(2026, 6, 15)


def test_it_shows_only_the_groups_own_visits(cast: Cast) -> None:
    own = submit(cast.person("volunteer"), cast.site)
    submit(cast.person("neighbour_volunteer"), cast.neighbour_site)
    assert list(visits_of(cast.group)) == [own]


def test_it_brings_the_scores_in_force(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    changed = submission_for(cast.site, id=str(visit.pk), counts={"Baetidae": 1})
    correct_visit(person=cast.person("coordinator"), visit=visit, submission=changed, reason="Miscounted.")
    found: Any = visits_of(cast.group).get()
    assert {score.index: score.value for score in found.current_scores}["bmwp"] == 4


def test_it_lists_what_waits_longest_first_with_its_findings(cast: Cast) -> None:
    first = submit(cast.person("volunteer"), cast.site, partner_name="")
    second = submit(cast.person("volunteer"), SiteFactory(group=cast.group))
    done = submit(cast.person("volunteer"), SiteFactory(group=cast.group))
    sent_back = submit(cast.person("volunteer"), SiteFactory(group=cast.group))
    approve_visit(person=cast.person("coordinator"), visit=done)
    return_visit(person=cast.person("coordinator"), visit=sent_back, message="Look.")
    waiting: list[Any] = list(visits_waiting(cast.group))
    assert waiting == [first, second]
    assert [number_waiting(each) for each in (cast.group, cast.neighbour)] == [2, 0]
    assert [[finding.rule for finding in visit.open_findings] for visit in waiting] == [["alone"], []]


@pytest.mark.parametrize("number", [1, 12])
def test_it_reads_visits_in_two_queries_and_waiting_ones_in_three(
    cast: Cast, number: int, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for _each in range(number):
        submit(cast.person("volunteer"), cast.site)
    with django_assert_num_queries(2):
        seen: list[Any] = list(visits_of(cast.group))
        assert all(str(visit.site) and str(visit.recorder) and visit.current_scores for visit in seen)
    with django_assert_num_queries(3):
        assert len(list(visits_waiting(cast.group))) == number


def history_site(cast: Cast) -> Site:
    """A site with a standard visit, one with short kicks and one of ranges; and a visit not made."""
    person, site = cast.person("volunteer"), cast.site
    short = [{"number": n, "kicks": 3, "seconds": "20"} for n in (1, 2, 3)]
    many = [{"taxon": "Baetidae", "range": "1-9"}, {"taxon": "Chironomidae", "range": "10-99"}]
    submit(person, site, visited_on=days_ago(10).isoformat(), spots=short, counts={"Baetidae": 3})
    submit(person, site, visited_on=days_ago(40).isoformat())
    submit(person, site, visited_on=days_ago(5).isoformat(), counts=many)
    gap = {"was_made": False, "not_made_reason": "dry", "spots": [], "measurements": {}, "counts": []}
    submit(person, site, visited_on=days_ago(20).isoformat(), **gap)
    return site


def test_it_tells_a_sites_history_oldest_first_without_gaps_filled(cast: Cast) -> None:
    points = site_history(history_site(cast), "bmwp")
    assert [(point.when, point.value, point.is_standard) for point in points] == [
        (days_ago(40), 48, True),
        (days_ago(10), 4, False),
        (days_ago(5), 6, True),
    ]
    assert {point.status for point in points} == {"waiting"}


def test_it_tells_the_span_that_ranges_leave(cast: Cast) -> None:
    point = site_history(history_site(cast), "shannon")[-1]
    assert point.low is not None
    assert point.high is not None
    assert point.low < point.high


def test_it_tells_a_history_in_one_query(cast: Cast, django_assert_num_queries: DjangoAssertNumQueries) -> None:
    site = history_site(cast)
    with django_assert_num_queries(1):
        site_history(site, "bmwp")


def test_it_gives_no_value_for_an_index_nobody_scored(cast: Cast) -> None:
    assert [point.value for point in site_history(history_site(cast), "unheard_of")] == [None] * 3


def visited(cast: Cast, last: date, **fields: Any) -> Site:
    site: Site = SiteFactory(group=cast.group, visit_interval_days=30, **fields)
    VisitFactory(site=site, visited_on=last)
    return site


def state_of(cast: Cast, site: Site) -> tuple[date | None, str]:
    return next((due.due_on, due.state) for due in sites_due(cast.group, TODAY) if due.site == site)


# Due 30 days after the last visit, within a window of 7 days either way (common practice, no source).
@pytest.mark.parametrize(
    ("days_since", "state"), [(22, "later"), (23, "due"), (30, "due"), (37, "due"), (38, "late")]
)
def test_it_knows_when_a_site_is_due(cast: Cast, days_since: int, state: str) -> None:
    last = TODAY - timedelta(days=days_since)
    assert state_of(cast, visited(cast, last)) == (last + timedelta(days=30), state)


def test_it_names_a_site_never_visited(cast: Cast) -> None:
    assert state_of(cast, cast.site) == (None, "first")


def test_it_does_not_count_a_visit_that_was_not_made(cast: Cast) -> None:
    last = TODAY - timedelta(days=40)
    site = visited(cast, last)
    VisitFactory(site=site, visited_on=TODAY, was_made=False, not_made_reason="too_high")
    assert state_of(cast, site)[1] == "late"


def test_it_leaves_out_closed_sites(cast: Cast) -> None:
    closed = visited(cast, TODAY, closed_on=TODAY - timedelta(days=1))
    closing = visited(cast, TODAY, closed_on=TODAY)
    due = [each.site for each in sites_due(cast.group, TODAY)]
    assert closed not in due
    assert closing in due


def test_it_lists_the_most_pressing_site_first(cast: Cast) -> None:
    later, late = visited(cast, TODAY), visited(cast, TODAY - timedelta(days=60))
    assert [each.site for each in sites_due(cast.group, TODAY)] == [cast.site, late, later]


def test_it_reads_all_due_sites_in_one_query(
    cast: Cast, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for _each in range(5):
        visited(cast, TODAY)
    with django_assert_num_queries(1):
        assert len(sites_due(cast.group, TODAY)) == 6
    assert Visit.objects.of_group(cast.group).count() == 5
