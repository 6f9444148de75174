"""What is read of a site's past for one visit lets the rules say what the whole past would let them say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date, timedelta
from random import Random
from typing import Any
from uuid import uuid4

import pytest
from pytest_django import DjangoAssertNumQueries

from portal.accounts.walls import within
from surveys.models import Site, Visit, VisitScore
from surveys.past.contexts import context_for
from surveys.past.of_many import pasts_of
from surveys.past.of_one import past_of_one
from surveys.rules import findings_in
from surveys.submission.types import Submission
from tests.conftest import Cast
from tests.factories import MeasurementFactory, SiteFactory, TaxonCountFactory, VisitFactory, submission_for

TAXA = ("Baetidae", "Elmidae", "Gammaridae", "Perlodidae", "Simuliidae")
# Of the rules that look at the past; each must have had its say for the comparison to show anything.
ABOUT_THE_PAST = {"many", "new_here", "out_of_season", "score_jumps", "reading_jumps", "same_day"}
BEGUN = date(2020, 1, 15)


@pytest.fixture
def chance() -> Random:
    return Random(9)


@pytest.fixture
def site(cast: Cast, chance: Random) -> Site:
    """A site of four years, whose visits are of every kind; another beside it that must not count."""
    for number in range(48):
        _visit(cast, cast.site, BEGUN + timedelta(days=30 * number), chance)
    beside = SiteFactory(group=cast.group)
    for number in range(6):
        _visit(cast, beside, BEGUN + timedelta(days=30 * number), chance)
    return Site.objects.of_group(cast.group).select_related("group", "recording_list").get(pk=cast.site.pk)


def _visit(cast: Cast, site: Site, day: date, chance: Random) -> None:
    status = chance.choices(["approved", "waiting", "returned"], [8, 1, 1])[0]
    by = {"reviewed_by": cast.coordinator} if status == "approved" else {}
    visit: Visit = VisitFactory(site=site, visited_on=day, status=status, entered_by=cast.volunteer, **by)
    for taxon in TAXA[:4]:
        # One of spring alone, others now and then, counted in one way or another.
        if chance.random() < (0.9 if taxon != "Perlodidae" else day.month in (3, 4, 5)):
            TaxonCountFactory(visit=visit, taxon=taxon, **_number(chance))
    for quantity, unit in (("ph", ""), ("phosphate", chance.choice(["mg/L PO4", "mg/L P"]))):
        value = str(round(chance.uniform(7.8, 8.2), 1))
        MeasurementFactory(
            visit=visit, quantity=quantity, unit=unit, value=value, is_below_limit=chance.random() < 0.1
        )
    VisitScore.objects.create(visit=visit, index="bmwp", version="1", value=60 + chance.randrange(5))
    VisitScore.objects.create(visit=visit, index="bmwp", version="0", value=1, is_current=False)


def _number(chance: Random) -> dict[str, Any]:
    kinds: list[dict[str, Any]] = [
        {"count": 0},
        {"count": None},
        {"count": None, "low": 3, "high": 9},
        {"count": None, "low": 10},
    ]
    return chance.choices([*kinds, {"count": chance.randrange(1, 30)}], [1, 1, 1, 1, 6])[0]


def _submissions(site: Site, chance: Random) -> Iterator[Submission]:
    known = list(Visit.objects.of_group(site.group).filter(site=site))
    for _time in range(60):
        day = BEGUN + timedelta(days=chance.randrange(1500))
        counts = {
            taxon: chance.choice([0, 1, 20, 90, 250, 400]) for taxon in TAXA if chance.random() < 0.8
        } or {"Elmidae": 1}
        # Now and then one that is there already: it is not held against itself.
        earlier = chance.choice(known) if chance.random() < 0.3 else None
        yield submission_for(
            site,
            id=str(earlier.pk if earlier else uuid4()),
            visited_on=(earlier.visited_on if earlier else day).isoformat(),
            counts=counts,
            measurements=_measured(chance),
        )


def _measured(chance: Random) -> Mapping[str, Mapping[str, str]]:
    told = {"ph": {"value": chance.choice(["8.0", "6.1"])}, "phosphate": {"value": "8", "unit": "mg/L P"}}
    return {name: reading for name, reading in told.items() if chance.random() < 0.7}


def test_the_rules_say_the_same_as_of_the_whole_past(cast: Cast, site: Site, chance: Random) -> None:
    said = set()
    for each in _submissions(site, chance):
        context = context_for(each, site)
        quantities = {reading.quantity for reading in each.measurements}
        whole = pasts_of([site], without=[each.id], quantities=quantities)[site.pk]
        of_all = replace(context, same_day=whole.same_day(each), history=whole.before(each))
        findings = findings_in(each, context)
        assert findings == findings_in(each, of_all)
        assert {name: sorted(values) for name, values in context.history.readings.items()} == {
            name: sorted(values) for name, values in of_all.history.readings.items()
        }
        said |= {finding.rule for finding in findings}
    assert said >= ABOUT_THE_PAST


def test_of_what_is_nothing_special_nothing_more_is_read(cast: Cast, site: Site) -> None:
    usual = submission_for(site, visited_on="2024-01-10", counts={"Baetidae": 5, "Simuliidae": 5})
    history = past_of_one(usual, site).history
    assert history.commonplace == {"Baetidae"}
    assert not {"Baetidae", "Simuliidae"} & history.most.keys()
    many = submission_for(site, visited_on="2024-01-10", counts={"Baetidae": 5000})
    assert past_of_one(many, site).history.most["Baetidae"] > 0


def test_it_is_one_query(cast: Cast, site: Site, django_assert_num_queries: DjangoAssertNumQueries) -> None:
    submission = submission_for(site)
    with django_assert_num_queries(1):
        past_of_one(submission, site)


def test_the_newest_readings_and_scores_are_read(
    cast: Cast, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("surveys.past.of_one.READINGS_READ", 2)
    monkeypatch.setattr("surveys.past.of_many.READINGS_READ", 2)
    submission = submission_for(site, visited_on="2024-06-01", measurements={"phosphate": {"value": "8"}})
    whole = pasts_of([site], without=[], quantities=["phosphate"])[site.pk].before(submission)
    history = past_of_one(submission, site).history
    assert len(history.scores) == len(history.readings["phosphate"]) == 2
    assert (history.scores, history.readings) == (whole.scores, whole.readings)


def test_the_second_wall_holds(cast: Cast, site: Site) -> None:
    submission = submission_for(site, counts={"Baetidae": 1})
    with within(cast.neighbour.pk):
        history = past_of_one(submission, site).history
    assert (history.approved_visits, history.commonplace, history.scores) == (0, frozenset(), ())


def test_it_is_of_that_submission_alone(cast: Cast) -> None:
    one, another = submission_for(cast.site), submission_for(cast.site)
    with pytest.raises(ValueError, match="another submission"):
        past_of_one(one, cast.site).before(another)
