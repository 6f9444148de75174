"""The map of a group with more sites than a map can hold."""

from __future__ import annotations

import pytest
from django.template.loader import render_to_string

from portal.public.maps import MANY, MOST_MARKS, site_map
from portal.public.results import Result, all_of
from surveys.exporting.models import Blur, PublishingTerms
from tests.conftest import Cast
from tests.factories import SiteFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def many(cast: Cast) -> list[Result]:
    for number in range(MOST_MARKS + 4):
        SiteFactory(group=cast.group, code=f"M{number:03}")
    return list(all_of(cast.group))


def test_it_draws_those_of_the_page_before_others(many: list[Result]) -> None:
    shown = many[-10:]
    drawn = site_map(many, lambda each: f"/{each.site.code}/", {}, title="Sites", shown=shown)
    assert drawn is not None
    assert drawn.drawing.count("<a ") == len(drawn.rows) == 10
    assert drawn.left_out == len(many) - MOST_MARKS == 5


def test_many_sites_are_drawn_wider_as_well_for_a_screen_with_room(many: list[Result]) -> None:
    drawn, few = (
        site_map(each, lambda _each: "/", {}, title="Sites")
        for each in (many[: MANY.stop - 1], many[: MANY.start - 1])
    )
    assert drawn is not None
    assert few is not None
    assert 'width="720"' in drawn.wide
    assert 'width="360"' in drawn.drawing
    assert drawn.wide.count("<a ") == drawn.drawing.count("<a ") == 60
    assert not few.wide
    page = render_to_string("public/_map.html", {"map": drawn, "caption": "Sites"})
    assert page.count("<svg") == 2
    assert render_to_string("public/_map.html", {"map": few, "caption": "Sites"}).count("<svg") == 1


def test_it_says_how_many_it_leaves_out(many: list[Result]) -> None:
    drawn = site_map(many, lambda _each: "/", {}, title="Sites")
    assert drawn is not None
    page = render_to_string("public/_map.html", {"map": drawn, "caption": "Sites"})
    assert "5 further sites are not drawn." in page
    few = site_map(many[:3], lambda _each: "/", {}, title="Sites")
    assert "further site" not in render_to_string("public/_map.html", {"map": few, "caption": "Sites"})


def test_it_says_in_kilometres_how_places_are_rounded(cast: Cast) -> None:
    SiteFactory(group=cast.group)
    terms = {cast.group.pk: PublishingTerms(group=cast.group, blur=Blur.FAR)}
    drawn = site_map(list(all_of(cast.group)), lambda _each: "/", terms, title="Sites")
    page = render_to_string("public/_map.html", {"map": drawn, "caption": "Sites"})
    assert "Places are not exact: rounded to 0.1 degree, within about 10 km, as the group wishes." in page
