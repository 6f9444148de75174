"""Every page of sites, visits and their review passes axe at 320 and 1280 px, full and empty."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.urls import reverse

from surveys.models import Visit
from surveys.services.review import return_visit
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago, submit
from tests.surveys.pages import picture

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

HARD = {
    "counts": [
        {"taxon": "Baetidae", "count": "900"},
        {"taxon": "Elmidae", "range": "10-99"},
        {"taxon": "Asellidae", "count": "0"},
    ],
    "measurements": {"temperature": {"value": "27"}, "ph": {"value": "9.4"}, "phosphate": {"value": "<0.05"}},
    "pollution_signs": "Grey growth on stones.",
    "spots": [{"number": 1, "flow_type": "riffle", "kicks": 3, "seconds": "20", "depth_cm": "60"}],
}


@pytest.fixture
def visit(cast: Cast) -> Visit:
    """The newest of several visits, with findings in every part, at a site with all its facts."""
    cast.site.hazards, cast.site.landowner, cast.site.permission_until = (
        "Deep pool",
        "Alder Farm",
        date(2026, 1, 1),
    )
    cast.site.downstream = SiteFactory(group=cast.group, code="AB2", name="Mill tail")
    cast.site.save()
    for day in (90, 60, 30):
        submit(cast.person("volunteer"), cast.site, visited_on=days_ago(day).isoformat())
    gap: dict[str, Any] = {
        "was_made": False,
        "not_made_reason": "too_high",
        "spots": [],
        "counts": {},
        "measurements": {},
    }
    submit(cast.person("volunteer"), cast.site, visited_on=days_ago(45).isoformat(), **gap)
    return submit(cast.person("volunteer"), cast.site, **HARD)


def look_at(page_for: PageFor, user: Any, name: str, **ids: Any) -> None:
    page = page_for(user)
    answer = page.goto(reverse(name, kwargs=ids))
    assert answer is not None
    assert answer.status == 200
    for closed in page.locator("details").all():
        closed.evaluate("each => each.open = true")
    assert_accessible(page)


@pytest.mark.parametrize("name", ["site_list", "visit_list", "review_queue", "site_create"])
@pytest.mark.long
def test_it_passes_on_pages_of_the_group(cast: Cast, visit: Visit, page_for: PageFor, name: str) -> None:
    look_at(page_for, cast.coordinator, name, slug=cast.group.slug)


@pytest.mark.parametrize("name", ["site_list", "visit_list", "review_queue"])
@pytest.mark.long
def test_it_passes_while_a_group_is_new_and_empty(cast: Cast, page_for: PageFor, name: str) -> None:
    look_at(page_for, cast.neighbour_coordinator, name, slug=cast.neighbour.slug)


@pytest.mark.parametrize("name", ["site_detail", "site_edit"])
@pytest.mark.long
def test_it_passes_on_pages_of_a_site(cast: Cast, visit: Visit, page_for: PageFor, name: str) -> None:
    look_at(page_for, cast.coordinator, name, slug=cast.group.slug, site_id=cast.site.pk)


@pytest.mark.parametrize("name", ["visit_detail", "visit_review", "visit_correct"])
@pytest.mark.long
def test_it_passes_on_pages_of_a_visit(cast: Cast, visit: Visit, page_for: PageFor, name: str) -> None:
    look_at(page_for, cast.coordinator, name, slug=cast.group.slug, visit_id=visit.pk)


@pytest.mark.long
def test_it_passes_on_the_form_that_mends_a_visit(cast: Cast, visit: Visit, page_for: PageFor) -> None:
    return_visit(person=cast.person("coordinator"), visit=visit, message="Are you sure of 900?")
    look_at(page_for, cast.volunteer, "visit_mend", slug=cast.group.slug, visit_id=visit.pk)


@pytest.mark.long
def test_it_passes_on_the_public_page_of_rules(page_for: PageFor) -> None:
    look_at(page_for, None, "rules_table")


def test_it_adds_pictures_to_a_returned_visit_without_losing_what_is_typed(
    cast: Cast, visit: Visit, page_for: PageFor, settings: LazySettings, tmp_path: Path
) -> None:
    settings.MEDIA_ROOT = tmp_path
    return_visit(person=cast.person("coordinator"), visit=visit, message="A picture, please.")
    page = page_for(cast.volunteer, width=360)
    page.goto(reverse("visit_mend", kwargs={"slug": cast.group.slug, "visit_id": visit.pk}))
    page.fill("#id_notes", "typed before the picture")
    for content, pictures in ((b"no picture", 0), (picture().read(), 1)):
        page.set_input_files("#photo", {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": content})
        page.fill("#caption", "The outfall")
        page.click("button[name=photo_add]")
        assert page.locator("#photos img").count() == pictures
        assert page.locator("#photo-problem").count() == 1 - pictures
        assert page.input_value("#id_notes") == "typed before the picture"
        assert_accessible(page)
    assert page.locator("[data-local-copy]").is_hidden()
