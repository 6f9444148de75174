"""The page of a site's change: who may read it, what it shows, what it costs."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from portal.audit.services import record_change
from surveys.models import VisitScore
from tests.conftest import Cast
from tests.factories import SiteFactory
from tests.surveys.comparing.test_changes import add_scores, falling, monthly

pytestmark = pytest.mark.django_db


def address(cast: Cast) -> str:
    return reverse("site_change", args=[cast.group.slug, cast.site.pk])


def signed_in(cast: Cast, role: str = "volunteer") -> Client:
    client = Client()
    backend = "allauth.account.auth_backends.AuthenticationBackend"
    client.force_login(getattr(cast, role), backend=backend)
    return client


def page(cast: Cast, status: int = 200, **asked: str) -> str:
    answer = signed_in(cast).get(address(cast), asked)
    assert answer.status_code == status
    return answer.content.decode()


def test_it_is_for_members_of_the_group_only(cast: Cast) -> None:
    expected = {"volunteer": 200, "coordinator": 200, "neighbour_coordinator": 404, "stranger": 404}
    assert {who: signed_in(cast, who).get(address(cast)).status_code for who in expected} == expected
    assert Client().get(address(cast)).status_code == 302
    assert signed_in(cast).post(address(cast)).status_code == 405


def test_it_tells_the_trend_first_and_the_numbers_after(cast: Cast) -> None:
    add_scores(cast, cast.site, falling())
    text = page(cast)
    assert text.index("Scores are falling.") < text.index("Kendall&#x27;s tau")
    assert "From 36 approved visits of standard effort, by BMWP." in text
    assert "Choose a day above" in text
    assert "No site of the group lies next up or down the river." in text


def test_it_compares_around_the_day_chosen(cast: Cast) -> None:
    add_scores(cast, cast.site, falling())
    text = page(cast, index="bmwp", since=monthly(18).isoformat())
    assert "Visits from 10 July 2022 on: lower than those before it" in text
    assert "Hodges-Lehmann difference" in text
    assert f'value="{monthly(18).isoformat()}"' in text


def test_it_sets_the_site_against_the_next_one(cast: Cast) -> None:
    below = SiteFactory(group=cast.group, code="AB2", name="Mill tail")
    cast.site.downstream = below
    cast.site.save()
    add_scores(cast, cast.site, falling())
    add_scores(cast, below, {day: score - 10 for day, score in falling().items()})
    text = page(cast, index="bmwp", since=monthly(18).isoformat())
    assert "AB2 Mill tail, downstream of AB1 Stepping stones" in text
    assert "36 pairs of visits at most 7 days apart." in text
    assert "AB2 Mill tail: lower than AB1 Stepping stones, by −10.0 points" in text
    assert "before-after-control-impact" in text


def test_it_says_so_while_there_is_nothing(cast: Cast) -> None:
    text = page(cast)
    assert "There is no approved visit of standard effort with this score yet." in text
    assert "Kendall" not in text.partition("The numbers")[2]


def test_it_offers_only_indices_that_the_site_has(cast: Cast) -> None:
    add_scores(cast, cast.site, falling(3))
    visit = cast.site.visits.get(visited_on=monthly(0))
    VisitScore.objects.create(visit=visit, index="fbi", version="1988-table-1", value=4.2)
    text = page(cast)
    assert '<option value="fbi"' in text
    assert '<option value="shannon"' not in text
    assert "Family biotic index" in page(cast, index="fbi")


@pytest.mark.parametrize("asked", [{"since": "yesterday"}, {"index": "shannon"}, {"since": "2026-02-30"}])
def test_it_names_a_mistake_at_its_field(cast: Cast, asked: dict[str, str]) -> None:
    add_scores(cast, cast.site, falling(3))
    text = page(cast, 422, **asked)
    assert "field--wrong" in text


def test_the_page_of_the_site_leads_there(cast: Cast) -> None:
    site = reverse("site_detail", args=[cast.group.slug, cast.site.pk])
    assert address(cast) in signed_in(cast).get(site).content.decode()


def test_it_costs_no_more_for_a_longer_history(cast: Cast, django_assert_max_num_queries: Any) -> None:
    below = SiteFactory(group=cast.group, code="AB2", name="Mill tail")
    cast.site.downstream = below
    cast.site.save()
    add_scores(cast, cast.site, falling(3))
    add_scores(cast, below, falling(3))
    client = signed_in(cast)
    with django_assert_max_num_queries(20) as few:
        client.get(address(cast))
    later = {day: score for day, score in falling().items() if day > monthly(5)}
    add_scores(cast, cast.site, later)
    add_scores(cast, below, later)
    # Factories record nothing, and then the chart would not be read again.
    record_change(actor=None, verb="visit.submitted", thing=cast.site)
    with django_assert_max_num_queries(20) as many:
        assert "Scores are falling." in client.get(address(cast)).content.decode()
    assert len(many) == len(few)
