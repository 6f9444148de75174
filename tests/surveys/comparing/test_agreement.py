"""Pairs of counts of one site and day: found, compared, and shown over the year."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from scoring.agreement import THRESHOLDS
from surveys.comparing.agreements import MEASURES, pairs_of, score_medians, year_rows, years_with_pairs
from surveys.models import Visit
from surveys.services.built_in_lists import ensure_bankside_list
from tests.conftest import Cast
from tests.factories import SiteFactory, VisitFactory, submit

pytestmark = pytest.mark.django_db
DAY = timezone.localdate() - timedelta(days=3)
FIRST = {"Baetidae": 50, "Elmidae": 50}
# Shares 0.5/0.5 against 0.7/0.3: the lesser ones add up to 80 %.
SECOND = {"Baetidae": 70, "Elmidae": 30}


def count(cast: Cast, counts: Any, day: date = DAY, role: str = "volunteer") -> Visit:
    return submit(cast.person(role), cast.site, visited_on=day.isoformat(), counts=counts)


def page(client: Client, cast: Cast, query: str = "") -> str:
    client.force_login(cast.volunteer)
    address = reverse("agreement_list", kwargs={"slug": cast.group.slug})
    return client.get(address + query).content.decode()


def test_it_compares_two_counts_of_one_day(cast: Cast) -> None:
    first, second = count(cast, FIRST), count(cast, SECOND, role="other_volunteer")
    (pair,) = pairs_of(cast.group, DAY.year)
    assert (pair.first, pair.second) == (first, second)
    assert pair.measures[0].label == MEASURES["percent_similarity"]
    assert pair.measures[0].value == pytest.approx(80)
    assert pair.measures[0].is_accepted


def test_it_tells_by_how_much_the_scores_differ(cast: Cast) -> None:
    count(cast, {"Baetidae": 5})
    count(cast, {"Baetidae": 5, "Elmidae": 5})
    (pair,) = pairs_of(cast.group, DAY.year)
    bmwp = next(each for each in pair.scores if each.method.key == "bmwp")
    # 4 and 9 (5 for the beetles): 5 of a mean of 6.5.
    assert (bmwp.scores.first, bmwp.scores.second, bmwp.scores.difference) == (4, 9, 5)
    assert bmwp.scores.percent == pytest.approx(100 * 5 / 6.5)
    assert bmwp.is_accepted is THRESHOLDS["relative_percent_difference"].accepts(100 * 5 / 6.5)


def test_it_pairs_three_samples_each_with_each(cast: Cast) -> None:
    for _number in range(3):
        count(cast, FIRST)
    assert len(pairs_of(cast.group, DAY.year)) == 3


def test_it_pairs_no_other_days_sites_groups_or_visits_not_made(cast: Cast) -> None:
    count(cast, FIRST)
    count(cast, FIRST, day=DAY - timedelta(days=1))
    VisitFactory(site=SiteFactory(group=cast.group), visited_on=DAY)
    VisitFactory(site=cast.neighbour_site, visited_on=DAY)
    VisitFactory(site=cast.site, visited_on=DAY, was_made=False, not_made_reason="dry")
    assert pairs_of(cast.group, DAY.year) == []
    assert years_with_pairs(cast.group) == []


def test_it_keeps_the_days_of_two_sites_apart(cast: Cast) -> None:
    """Both days and both sites are asked for at once; only the true pairs may come back."""
    other = SiteFactory(group=cast.group)
    for _number in range(2):
        VisitFactory(site=cast.site, visited_on=DAY)
        VisitFactory(site=other, visited_on=DAY - timedelta(days=1))
    VisitFactory(site=other, visited_on=DAY)
    found = {(pair.first.site, pair.first.visited_on) for pair in pairs_of(cast.group, DAY.year)}
    assert found <= {(cast.site, DAY), (other, DAY - timedelta(days=1))}


def test_it_says_why_counts_without_numbers_are_not_compared(client: Client, cast: Cast) -> None:
    count(cast, FIRST)
    count(cast, [{"taxon": "Baetidae", "present": True}])
    (pair,) = pairs_of(cast.group, DAY.year)
    assert pair.measures == ()
    assert "so the two counts cannot be compared" in page(client, cast)
    assert year_rows([pair]) == []


def test_it_multiplies_a_share_of_the_tray_before_it_compares(cast: Cast) -> None:
    count(cast, {"Baetidae": 40, "Elmidae": 20})
    submit(
        cast.person("volunteer"),
        cast.site,
        visited_on=DAY.isoformat(),
        fraction_sorted="1/4",
        counts={"Baetidae": 10, "Elmidae": 5},
    )
    (pair,) = pairs_of(cast.group, DAY.year)
    assert [measure.value for measure in pair.measures] == pytest.approx([100, 0, 0])
    assert pair.agreement.is_estimate


def test_it_compares_only_by_what_the_list_supports(cast: Cast) -> None:
    cast.site.recording_list = ensure_bankside_list()
    cast.site.save()
    for _number in range(2):
        count(cast, {"Plecoptera": 5, "Chironomidae": 5})
    (pair,) = pairs_of(cast.group, DAY.year)
    assert [each.method.key for each in pair.scores] == ["bankside"]
    assert [method.key for method, _value in score_medians([pair])] == ["bankside"]


def test_it_gives_the_median_and_the_share_accepted_over_the_year(cast: Cast) -> None:
    for number, second in enumerate((FIRST, SECOND, {"Perlidae": 9})):
        # Days that lie in one year whatever day it is.
        day = date(DAY.year - 1, 6, 1 + number)
        VisitFactory(site=cast.site, visited_on=day)
        Visit.objects.of_group(cast.group).filter(visited_on=day).delete()
        for counts in (FIRST, second):
            count(cast, counts, day=day)
    pairs = pairs_of(cast.group, DAY.year - 1)
    row = year_rows(pairs)[0]
    assert len(pairs) == 3
    assert row.median == pytest.approx(80)
    assert row.accepted_percent == pytest.approx(200 / 3)


def test_the_page_shows_pairs_thresholds_and_their_sources(client: Client, cast: Cast) -> None:
    count(cast, FIRST)
    count(cast, SECOND)
    text = page(client, cast)
    for words in ("1 pair", "80.0", "accepted", "at least 70", "Stribling", "common practice, no source"):
        assert words in text


def test_the_page_says_how_a_pair_comes_about(client: Client, cast: Cast) -> None:
    assert "No pair yet" in page(client, cast)


@pytest.mark.parametrize("query", ["?year=1999", "?year=x", "?year=²", "?year="])
def test_a_year_without_pairs_shows_the_latest(client: Client, cast: Cast, query: str) -> None:
    count(cast, FIRST)
    count(cast, SECOND)
    assert f"{DAY.year}: 1 pair" in page(client, cast, query)
