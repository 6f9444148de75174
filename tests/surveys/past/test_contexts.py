"""What the rules are told of a site's people and past."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from portal.accounts.models import Membership
from surveys.models import Visit, VisitScore
from surveys.past.contexts import context_for
from surveys.rules import Context
from tests.conftest import Cast
from tests.factories import (
    MeasurementFactory,
    SiteFactory,
    TaxonCountFactory,
    VisitFactory,
    days_ago,
    submission_for,
)


def approved(cast: Cast, **fields: Any) -> Visit:
    fields = {"site": cast.site, "visited_on": days_ago(40), **fields}
    return VisitFactory(status="approved", reviewed_by=cast.coordinator, entered_by=cast.volunteer, **fields)


def context(cast: Cast, **changes: Any) -> Context:
    return context_for(submission_for(cast.site, **changes), cast.site)


def test_it_knows_present_members_that_are_named(cast: Cast) -> None:
    named = {"recorder": str(cast.volunteer.pk), "partner": str(cast.neighbour_volunteer.pk)}
    assert context(cast, **named).members == {cast.volunteer.pk}


def test_it_knows_former_members_only_for_the_past(cast: Cast) -> None:
    memberships = Membership.objects.of_group(cast.group)
    memberships.filter(user=cast.volunteer).update(left_at=timezone.now())
    submission = submission_for(cast.site, recorder=str(cast.volunteer.pk))
    assert context_for(submission, cast.site).members == frozenset()
    assert context_for(submission, cast.site, past_record=True).members == {cast.volunteer.pk}
    assert context_for(submission, cast.site, known=[cast.volunteer.pk]).members == {cast.volunteer.pk}


def test_it_counts_other_visits_of_the_day(cast: Cast) -> None:
    VisitFactory(site=cast.site, visited_on=days_ago(1))
    VisitFactory(site=cast.site, visited_on=days_ago(2))
    VisitFactory(site=cast.site, visited_on=days_ago(1), was_made=False, not_made_reason="dry")
    VisitFactory(site=SiteFactory(group=cast.group), visited_on=days_ago(1))
    assert context(cast).same_day == 1


def test_it_does_not_count_the_visit_itself(cast: Cast) -> None:
    visit = VisitFactory(site=cast.site, visited_on=days_ago(1))
    assert context(cast, id=str(visit.pk)).same_day == 0


def test_it_asks_nothing_about_the_day_of_a_visit_not_made(cast: Cast) -> None:
    VisitFactory(site=cast.site, visited_on=days_ago(1))
    assert context(cast, was_made=False, not_made_reason="dry").same_day == 0


def test_it_reads_the_most_of_each_taxon_from_approved_visits(cast: Cast) -> None:
    first, second = approved(cast), approved(cast)
    TaxonCountFactory(visit=first, taxon="Baetidae", count=40)
    TaxonCountFactory(visit=second, taxon="Baetidae", count=None, low=10, high=99)
    TaxonCountFactory(visit=first, taxon="Elmidae", count=None, low=1000)
    TaxonCountFactory(visit=VisitFactory(site=cast.site), taxon="Baetidae", count=5000)
    TaxonCountFactory(visit=approved(cast, site=SiteFactory(group=cast.group)), taxon="Perlidae", count=1)
    # So many that each is worth a question.
    history = context(cast, counts=dict.fromkeys(("Baetidae", "Elmidae", "Perlidae"), 100_000)).history
    assert history.most == {"Baetidae": 99, "Elmidae": 1000}
    assert history.approved_visits == 2


def test_it_leaves_the_visit_itself_out_of_its_past(cast: Cast) -> None:
    visit = approved(cast)
    TaxonCountFactory(visit=visit, taxon="Baetidae", count=40)
    MeasurementFactory(visit=visit)
    history = context(cast, id=str(visit.pk)).history
    assert (history.approved_visits, dict(history.most), dict(history.readings)) == (0, {}, {})


def test_it_knows_in_which_months_each_taxon_was_found(cast: Cast) -> None:
    for month, count in ((1, 3), (6, 0), (11, 2)):
        visit = approved(cast, visited_on=date(2024, month, 5))
        TaxonCountFactory(visit=visit, taxon="Perlodidae", count=count)
    TaxonCountFactory(visit=VisitFactory(site=cast.site, visited_on=date(2024, 7, 5)), taxon="Perlodidae")
    history = context(cast, visited_on="2024-07-20", counts={"Perlodidae": 1}).history
    assert sorted(history.months["Perlodidae"]) == [1, 11]
    assert history.visits_by_month == {1: 1, 6: 1, 11: 1}


def test_it_reads_the_scores_in_force_of_approved_visits(cast: Cast) -> None:
    first, waiting = approved(cast), VisitFactory(site=cast.site)
    for visit, value, is_current in ((first, 61, True), (first, 60, False), (waiting, 12, True)):
        VisitScore.objects.create(visit=visit, index="bmwp", version="1", value=value, is_current=is_current)
    VisitScore.objects.create(visit=first, index="aspt", version="1", value=5)
    history = context(cast).history
    assert (history.score_index, history.scores) == ("bmwp", (61.0,))
    assert context(cast, id=str(first.pk)).history.scores == ()


def test_it_reads_readings_in_the_first_unit(cast: Cast) -> None:
    phosphate = {"quantity": "phosphate", "as_typed": "0.1", "value": "0.1"}
    MeasurementFactory(visit=approved(cast), unit="mg/L P", **phosphate)
    MeasurementFactory(visit=VisitFactory(site=cast.site), unit="mg/L PO4", **phosphate)
    found = context(cast, measurements={"phosphate": {"value": "0.2"}}).history.readings["phosphate"]
    assert sorted(found) == pytest.approx([0.1, 0.3066])


def test_it_leaves_out_limits_and_returned_visits(cast: Cast) -> None:
    MeasurementFactory(visit=approved(cast), is_below_limit=True)
    MeasurementFactory(visit=VisitFactory(site=cast.site, status="returned"))
    assert context(cast).history.readings == {}


def test_it_reads_only_quantities_that_were_measured(cast: Cast) -> None:
    MeasurementFactory(visit=approved(cast), quantity="nitrate", unit="mg/L NO3")
    assert context(cast).history.readings == {}


def test_it_stays_at_three_queries_however_long_the_past(
    cast: Cast, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for _visit in range(6):
        visit = approved(cast)
        TaxonCountFactory(visit=visit)
        MeasurementFactory(visit=visit)
    submission = submission_for(cast.site, recorder=str(cast.volunteer.pk))
    with django_assert_max_num_queries(3):
        context_for(submission, cast.site)


def test_it_knows_what_was_seen_and_leaves_out_what_was_only_looked_for(cast: Cast) -> None:
    visit = approved(cast)
    TaxonCountFactory(visit=visit, taxon="Perlidae", count=None)
    TaxonCountFactory(visit=visit, taxon="Elmidae", count=0)
    assert context(cast, counts={"Perlidae": 1, "Elmidae": 1}).history.most == {"Perlidae": 0}
