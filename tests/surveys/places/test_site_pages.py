"""Sites on their pages: listed, read, added, changed, and never shown to strangers."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date
from typing import Any

import pytest
from django.utils import timezone

from surveys.models import Site
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago, submit
from tests.surveys.pages import address, signed_in, text_of

QueryCeiling = Callable[..., AbstractContextManager[Any]]
# Two of them for the map.
SITE_LIST_QUERIES = 11
SITE_DETAIL_QUERIES = 22


def site_post(site: Site, **changes: str) -> dict[str, str]:
    usual = {
        "code": "AB9",
        "name": "Mill tail",
        "river": "Alder Beck",
        "location": "SD 7712 6634",
        "downstream": "",
        "recording_list": str(site.recording_list_id),
        "visit_interval_days": "30",
        "people_needed": "2",
        "spots": "3",
        "kicks_per_spot": "3",
        "seconds_per_kick": "10",
    }
    return usual | changes


def post_new(cast: Cast, **changes: str) -> Any:
    return signed_in(cast.coordinator).post(address("site_create", cast.group), site_post(cast.site, **changes))


@pytest.mark.parametrize(("typed", "kept"), [("", 120), ("90", 90), ("15", 15), ("720", 720)])
def test_a_site_says_how_long_a_visit_takes(cast: Cast, typed: str, kept: int) -> None:
    assert post_new(cast, visit_minutes=typed).status_code == 302
    assert Site.objects.of_group(cast.group).get(code="AB9").visit_minutes == kept


@pytest.mark.parametrize("typed", ["14", "721", "-1", "two hours"])
def test_a_length_that_cannot_be_is_told_at_its_field(cast: Cast, typed: str) -> None:
    answer = post_new(cast, visit_minutes=typed)
    assert answer.status_code == 422
    assert "visit_minutes" in answer.context["form"].errors
    assert f'value="{typed}"' in answer.content.decode()


class TestList:
    def test_it_shows_each_site_with_its_next_visit_and_latest_scores(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site, visited_on=days_ago(60).isoformat())
        page = text_of(signed_in(cast.volunteer).get(address("site_list", cast.group)))
        assert "AB1 Stepping stones" in page
        assert "was due on" in page
        assert "48 7 6.86 not tested against the trigger" in page

    def test_it_says_of_a_site_without_visits_that_its_first_is_open(self, cast: Cast) -> None:
        assert "first visit open" in text_of(signed_in(cast.volunteer).get(address("site_list", cast.group)))

    def test_it_lists_closed_sites_last(self, cast: Cast) -> None:
        SiteFactory(group=cast.group, code="AA0", name="Old weir", closed_on=date(2020, 1, 1))
        page = text_of(signed_in(cast.volunteer).get(address("site_list", cast.group)))
        assert page.index("AB1") < page.index("AA0 Old weir") < page.index("closed")

    def test_it_never_shows_sites_of_another_group(self, cast: Cast) -> None:
        assert "WB1" not in text_of(signed_in(cast.volunteer).get(address("site_list", cast.group)))
        assert signed_in(cast.volunteer).get(address("site_list", cast.neighbour)).status_code == 404

    def test_it_offers_a_new_site_to_coordinators_only(self, cast: Cast) -> None:
        place = address("site_create", cast.group)
        assert place not in signed_in(cast.volunteer).get(address("site_list", cast.group)).content.decode()
        assert place in signed_in(cast.coordinator).get(address("site_list", cast.group)).content.decode()

    @pytest.mark.parametrize("number", [1, 12])
    def test_it_asks_the_database_as_often_for_many_sites_as_for_one(
        self, cast: Cast, number: int, django_assert_max_num_queries: QueryCeiling
    ) -> None:
        for _each in range(number):
            submit(cast.person("volunteer"), SiteFactory(group=cast.group))
        client = signed_in(cast.volunteer)
        with django_assert_max_num_queries(SITE_LIST_QUERIES):
            assert client.get(address("site_list", cast.group)).status_code == 200


class TestDetail:
    def page(self, cast: Cast, user: str = "volunteer") -> str:
        found = signed_in(getattr(cast, user)).get(address("site_detail", cast.group, site_id=cast.site.pk))
        assert found.status_code == 200
        return text_of(found)

    def test_it_shows_where_the_site_is_and_what_to_beware_of(self, cast: Cast) -> None:
        Site.objects.of_group(cast.group).update(
            hazards="Deep pool on the left", access_notes="Park at the chapel"
        )
        page = self.page(cast)
        for words in ("54.50000, -2.50000", "NY 6771 1174", "Deep pool on the left", "Park at the chapel"):
            assert words in page
        assert "Two adults, always" in page

    def test_it_links_to_a_map_that_is_opened_only_by_a_click(self, cast: Cast) -> None:
        page = (
            signed_in(cast.volunteer)
            .get(address("site_detail", cast.group, site_id=cast.site.pk))
            .content.decode()
        )
        assert 'href="https://www.openstreetmap.org/?mlat=54.5&amp;mlon=-2.5#map=16/54.5/-2.5"' in page
        assert 'rel="noopener noreferrer"' in page

    def test_it_names_the_sites_above_and_below(self, cast: Cast) -> None:
        SiteFactory(group=cast.group, code="UP1", name="Spring", downstream=cast.site)
        below = SiteFactory(group=cast.group, code="DN1", name="Mouth")
        Site.objects.of_group(cast.group).filter(pk=cast.site.pk).update(downstream=below)
        page = self.page(cast)
        assert "Upstream UP1 Spring" in page
        assert "Downstream DN1 Mouth" in page

    def test_it_warns_when_the_landowners_permission_has_run_out(self, cast: Cast) -> None:
        Site.objects.of_group(cast.group).update(permission_until=days_ago(1))
        assert "Permission has run out" in self.page(cast)
        Site.objects.of_group(cast.group).update(permission_until=timezone.localdate())
        assert "Permission has run out" not in self.page(cast)

    def test_it_lists_a_visit_that_could_not_be_made_with_its_reason(self, cast: Cast) -> None:
        submit(
            cast.person("volunteer"),
            cast.site,
            was_made=False,
            not_made_reason="too_high",
            spots=[],
            counts={},
            measurements={},
        )
        assert "Not made: river too high or bed not visible" in self.page(cast)

    def test_it_says_that_an_untested_visit_was_not_tested(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site)
        assert "not tested against the trigger" in self.page(cast)

    def test_it_offers_changes_and_the_trigger_to_coordinators_only(self, cast: Cast) -> None:
        assert "Set the trigger" not in self.page(cast)
        assert "Set the trigger" in self.page(cast, "coordinator")

    def test_it_leads_back_to_the_draft_one_has_begun(self, cast: Cast) -> None:
        signed_in(cast.volunteer).post(address("visit_start", cast.group, site_id=cast.site.pk))
        assert "Go on with your draft" in self.page(cast)
        assert "Go on with your draft" not in self.page(cast, "other_volunteer")

    def test_it_is_not_there_for_people_of_another_group(self, cast: Cast) -> None:
        stranger = signed_in(cast.neighbour_coordinator)
        assert stranger.get(address("site_detail", cast.group, site_id=cast.site.pk)).status_code == 404
        own_address = address("site_detail", cast.neighbour, site_id=cast.site.pk)
        assert stranger.get(own_address).status_code == 404

    @pytest.mark.parametrize("number", [2, 12])
    def test_it_asks_the_database_as_often_for_many_visits_as_for_few(
        self, cast: Cast, number: int, django_assert_max_num_queries: QueryCeiling
    ) -> None:
        for day in range(number):
            submit(cast.person("volunteer"), cast.site, visited_on=days_ago(30 * day + 1).isoformat())
        client = signed_in(cast.coordinator)
        with django_assert_max_num_queries(SITE_DETAIL_QUERIES):
            client.get(address("site_detail", cast.group, site_id=cast.site.pk))


class TestCreate:
    def test_it_says_what_an_empty_choice_means(self, cast: Cast) -> None:
        page = signed_in(cast.coordinator).get(address("site_create", cast.group)).content.decode()
        assert page.count('<option value="" selected>all year</option>') == 2
        assert "---------" not in page

    def test_it_adds_a_site_from_a_grid_reference(self, cast: Cast) -> None:
        answer = post_new(cast)
        site = Site.objects.of_group(cast.group).get(code="AB9")
        assert answer.url == address("site_detail", cast.group, site_id=site.pk)
        assert (site.location_as_typed, site.location_precision_m) == ("SD 7712 6634", 10)
        assert site.latitude == pytest.approx(54.09, abs=0.01)

    def test_it_adds_a_site_from_latitude_and_longitude(self, cast: Cast) -> None:
        post_new(cast, location="54.1234, -2.3456")
        site = Site.objects.of_group(cast.group).get(code="AB9")
        assert (site.latitude, site.longitude) == (54.1234, -2.3456)

    def test_it_says_at_the_field_what_is_wrong_with_a_location_and_keeps_the_rest(self, cast: Cast) -> None:
        answer = post_new(cast, location="by the old mill", hazards="Wire at the stile")
        assert answer.status_code == 422
        assert answer.context["form"].errors["location"]
        assert "by the old mill" in answer.content.decode()
        assert "Wire at the stile" in answer.content.decode()
        assert not Site.objects.of_group(cast.group).filter(code="AB9").exists()

    def test_it_refuses_a_code_used_twice_in_whatever_case(self, cast: Cast) -> None:
        answer = post_new(cast, code="ab1")
        assert answer.status_code == 422
        assert "Another site of this group has this code" in text_of(answer)

    def test_it_offers_only_the_groups_own_sites_as_the_next_one_downstream(self, cast: Cast) -> None:
        assert post_new(cast, downstream=str(cast.neighbour_site.pk)).context["form"].errors["downstream"]
        assert post_new(cast, downstream=str(cast.site.pk)).status_code == 302

    def test_it_shows_at_the_field_what_the_service_refuses(self, cast: Cast) -> None:
        answer = post_new(cast, opened_on="2026-05-01", closed_on="2026-04-01")
        assert answer.status_code == 422
        assert answer.context["form"].errors["closed_on"] == ["The end is before the start."]

    def test_it_is_for_coordinators(self, cast: Cast) -> None:
        client = signed_in(cast.volunteer)
        assert client.get(address("site_create", cast.group)).status_code == 403
        assert client.post(address("site_create", cast.group), site_post(cast.site)).status_code == 403


class TestEdit:
    def edit(self, cast: Cast, **changes: str) -> Any:
        place = address("site_edit", cast.group, site_id=cast.site.pk)
        return signed_in(cast.coordinator).post(place, site_post(cast.site, **changes))

    def test_it_starts_with_what_is_stored(self, cast: Cast) -> None:
        self.edit(cast, hazards="Deep pool")
        page = signed_in(cast.coordinator).get(address("site_edit", cast.group, site_id=cast.site.pk))
        assert "SD 7712 6634" in page.content.decode()
        assert "Deep pool" in page.content.decode()

    def test_it_shows_what_was_changed_from_what_to_what(self, cast: Cast) -> None:
        assert self.edit(cast, name="Mill tail").status_code == 302
        page = text_of(signed_in(cast.volunteer).get(address("site_detail", cast.group, site_id=cast.site.pk)))
        assert "Site changed" in page
        assert "Name: was Stepping stones Mill tail" in page

    def test_it_refuses_water_that_runs_in_a_circle(self, cast: Cast) -> None:
        above = SiteFactory(group=cast.group, code="UP1", downstream=cast.site)
        answer = self.edit(cast, downstream=str(above.pk))
        assert answer.context["form"].errors["downstream"]
        assert Site.objects.of_group(cast.group).get(pk=cast.site.pk).downstream is None

    def test_it_changes_nothing_when_a_field_is_wrong(self, cast: Cast) -> None:
        assert self.edit(cast, spots="0", name="Other").status_code == 422
        assert Site.objects.of_group(cast.group).get(pk=cast.site.pk).name == "Stepping stones"

    def test_it_is_for_coordinators(self, cast: Cast) -> None:
        place = address("site_edit", cast.group, site_id=cast.site.pk)
        assert signed_in(cast.volunteer).post(place, site_post(cast.site)).status_code == 403
