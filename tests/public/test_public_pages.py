"""What everybody may read: approved results of groups that publish, and nothing else."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from portal.accounts.models import Group
from surveys.models import Visit
from surveys.models.visits import NotMade
from surveys.services.review import approve_visit
from tests.conftest import Cast
from tests.factories import CLEAN_COUNTS, SiteFactory, days_ago, submit

PAGE = "/public/alder-beck/"


@pytest.fixture
def public(cast: Cast) -> Cast:
    Group.objects.filter(id=cast.group.id).update(is_public=True)
    return cast


def site_page(cast: Cast) -> str:
    return f"{PAGE}sites/{cast.site.id}/"


def approved(cast: Cast, **changes: Any) -> Visit:
    visit = submit(cast.person("volunteer"), cast.site, **changes)
    approve_visit(person=cast.person("coordinator"), visit=visit, accept_findings_reason="Seen on the photo.")
    return visit


def test_a_group_that_does_not_publish_has_no_public_pages(cast: Cast, client: Client) -> None:
    assert client.get(PAGE).status_code == 404
    assert client.get(site_page(cast)).status_code == 404


def test_an_approved_score_is_shown_and_a_waiting_one_is_not(public: Cast, client: Client) -> None:
    submit(public.person("volunteer"), public.site, visited_on=days_ago(40).isoformat())
    assert "BMWP 48" not in client.get(PAGE).content.decode()
    approved(public)
    assert "BMWP 48" in client.get(PAGE).content.decode()
    page = client.get(site_page(public)).content.decode()
    assert page.count('data-label="BMWP">48<') == 1
    assert days_ago(1).strftime("%Y") in page


def test_the_chart_holds_approved_visits_only(public: Cast, client: Client) -> None:
    submit(public.person("volunteer"), public.site, counts={"Chironomidae": 3})
    before = client.get(site_page(public)).content.decode()
    approved(public, visited_on=days_ago(30).isoformat())
    after = client.get(site_page(public)).content.decode()
    assert "No visits yet" in _drawing(before)
    assert "48" in _drawing(after)


def _drawing(page: str) -> str:
    start = page.index("<svg", page.index('class="chart'))
    return page[start : page.index("</svg>", start)].partition("<title")[2].partition("</title>")[0]


def test_no_person_hazard_or_exact_place_is_shown(public: Cast, client: Client) -> None:
    site = public.site
    site.hazards, site.access_notes, site.landowner = "Bull in field", "Key at the mill", "Mr Private"
    site.save()
    approved(public, notes="Met Mrs Walker", pollution_signs="grey fungus")
    text = client.get(PAGE).content.decode() + client.get(site_page(public)).content.decode()
    secrets = ["Bull in field", "Key at the mill", "Mr Private", "Vera", "Cora", "Sam Example", "Mrs Walker"]
    secrets += [str(site.latitude), "grey fungus", "vera@example.org"]
    assert [each for each in secrets if each in text] == []


@pytest.mark.parametrize("reason", NotMade.values)
def test_a_visit_not_made_is_a_row_with_its_reason_unless_it_speaks_of_people(
    public: Cast, client: Client, reason: str
) -> None:
    visit = submit(
        public.person("volunteer"),
        public.site,
        was_made=False,
        not_made_reason=reason,
        spots=[],
        counts=[],
        measurements={},
        partner_name="",
        started_at="",
        ended_at="",
    )
    approve_visit(person=public.person("coordinator"), visit=visit)
    cell = (
        client.get(site_page(public))
        .content.decode()
        .partition('data-label="Result">')[2]
        .partition("</td>")[0]
    )
    of_people = {"no_partner", "illness", "other"}
    assert cell == ("not made" if reason in of_people else f"not made: {NotMade(reason).label}")


def test_the_site_of_another_group_is_not_found_under_this_one(public: Cast, client: Client) -> None:
    assert client.get(f"{PAGE}sites/{public.neighbour_site.id}/").status_code == 404


def test_the_group_page_takes_few_queries_however_many_sites(
    public: Cast, client: Client, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(6) as few:
        client.get(PAGE)
    for _number in range(10):
        site = SiteFactory(group=public.group)
        approve_visit(
            person=public.person("coordinator"),
            visit=submit(public.person("volunteer"), site),
            accept_findings_reason="Seen.",
        )
    with django_assert_max_num_queries(6) as many:
        client.get(PAGE)
    # Scores and recording lists are read only where there are visits.
    assert len(many) <= len(few) + 2


def test_the_clean_riffle_of_these_tests_scores_48() -> None:
    assert set(CLEAN_COUNTS) >= {"Heptageniidae", "Leuctridae", "Chironomidae"}
