"""Where a visit was made: asked of a phone without a network, offered from a picture, kept if confirmed."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.urls import reverse
from playwright.sync_api import Page, expect

from surveys.models import Draft, Finding, Photo, Visit
from surveys.services.drafts import start_visit
from tests.browser.bank.steps import (
    PHONE,
    await_kept,
    await_state,
    fill_in,
    form_address,
    new_number,
    open_form,
    submit,
)
from tests.browser.checks import WIDE, PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import SiteFactory
from tests.processes import await_true
from tests.surveys.visits.test_positions import exif

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
AT_FORD = {"latitude": 54.51, "longitude": -2.5, "accuracy": 11.2}
ASK, USE, LEAVE = "Ask this phone where I am", "Use this position", "Leave it out"


@pytest.fixture(autouse=True)
def _own_pictures(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def number(cast: Cast) -> str:
    SiteFactory(group=cast.group, code="AB2", name="Far ford", latitude=54.51, longitude=-2.5)
    return new_number()


def shot(page: Page, name: str) -> None:
    """A picture for whoever asks for one by SHOTS."""
    folder = os.environ.get("SHOTS")
    for width in (PHONE, WIDE) if folder else ():
        page.set_viewport_size({"width": width, "height": 900})
        page.locator("[data-position]").scroll_into_view_if_needed()
        page.screenshot(path=f"{folder}/{name}-{width}.png")
    if folder:
        page.set_viewport_size({"width": PHONE, "height": 900})


def values(page: Page) -> list[str]:
    return [page.locator(f"[name=position{part}]").input_value() for part in ("", "_accuracy_m", "_source")]


def assert_said(page: Page, words: str) -> None:
    expect(page.locator("[data-position-said]")).to_contain_text(words)


def test_a_phone_without_a_network_tells_where_it_is_and_asks_first(
    cast: Cast, page_for: PageFor, number: str
) -> None:
    page = page_for(cast.volunteer, width=PHONE, geolocation=AT_FORD, permissions=["geolocation"])
    open_form(page, cast.site, number)
    page.context.set_offline(True)
    fill_in(page)
    page.get_by_role("button", name=ASK).click()
    offer = page.get_by_role("group", name="Position of this phone")
    expect(offer).to_contain_text(
        "This phone is 1.1 km from AB1, exact to 12 m. Is this a visit of AB2? Use this position for the visit?"
    )
    assert values(page) == ["", "", ""]
    shot(page, "asked")
    page.get_by_role("button", name=LEAVE).click()
    assert_said(page, "Left out: nothing of it is kept.")
    assert values(page) == ["", "", ""]
    page.get_by_role("button", name=ASK).click()
    page.get_by_role("button", name=USE).click()
    assert values(page) == ["54.51000 N, 2.50000 W", "12", "phone"]
    expect(page.get_by_text("1.1 km from AB1. Is this a visit of AB2?")).to_be_visible()
    shot(page, "confirmed")
    page.get_by_label("Notes").fill("At the ford")
    await_kept(page, number, "At the ford")
    page.context.set_offline(False)
    assert_accessible(page)
    # What the phone kept outlives the page.
    page.goto("about:blank")
    page.goto(form_address(cast.site, number))
    expect(page.get_by_text("1.1 km from AB1. Is this a visit of AB2?")).to_be_visible()
    assert values(page) == ["54.51000 N, 2.50000 W", "12", "phone"]
    submit(page)
    await_state(page, number, "sent")
    visit = Visit.objects.of_group(cast.group).get(pk=number)
    assert (visit.position_latitude, visit.position_longitude) == (54.51, -2.5)
    assert (visit.position_accuracy_m, visit.position_source) == (12, "phone")
    # The portal, which reckons for itself, asks the same.
    finding = Finding.objects.of_group(cast.group).get(visit=visit, rule="position_far")
    assert finding.message == "The position lies 1.1 km from AB1. Is this a visit of AB2?"


def test_a_phone_that_refuses_or_does_not_know_says_so_and_stops_nobody(
    cast: Cast, page_for: PageFor, number: str
) -> None:
    page = page_for(cast.volunteer, width=PHONE)
    open_form(page, cast.site, number)
    page.get_by_role("button", name=ASK).click()
    assert_said(page, "This phone does not let the page know where it is.")
    shot(page, "refused")
    page.context.grant_permissions(["geolocation"])
    page.context.set_geolocation(None)
    page.get_by_role("button", name=ASK).click()
    assert_said(page, "The phone cannot tell where it is.")
    page.context.set_geolocation({"latitude": 54.51, "longitude": -2.5, "accuracy": 6000})
    page.get_by_role("button", name=ASK).click()
    assert_said(page, "The phone knows its place only to 6.0 km")
    # A place of one's own, and another one: what was told of the first says nothing of the second.
    page.get_by_label("Where the sample was taken").fill("54.5001, -2.5")
    expect(page.get_by_text("11 m from AB1.")).to_be_visible()
    assert values(page) == ["54.5001, -2.5", "", "typed"]
    page.get_by_label("Where the sample was taken").fill("")
    assert values(page) == ["", "", ""]


def stored(draft: Draft) -> Any:
    return Draft.objects.of_group(draft.group).get(pk=draft.pk).data


def add_picture(page: Page, times: int, **changes: Any) -> None:
    content = {"name": "bank.jpg", "mimeType": "image/jpeg", "buffer": exif(**changes).getvalue()}
    page.get_by_label("Picture", exact=True).set_input_files([content])  # type: ignore[arg-type]
    page.get_by_role("button", name="Add the picture").click()
    expect(page.locator("#photo-list img")).to_have_count(times)


def test_a_picture_offers_its_place_which_is_kept_only_when_confirmed(cast: Cast, page_for: PageFor) -> None:
    draft = start_visit(person=cast.person("volunteer"), site=cast.site)
    page = page_for(cast.volunteer, width=PHONE)
    page.goto(reverse("visit_submit", kwargs={"slug": cast.group.slug, "draft_id": draft.pk}))
    add_picture(page, 1)
    question = "The picture says it was taken 10 m from AB1 (exact to 8 m). Use this position for the visit?"
    expect(page.get_by_text(question)).to_be_visible()
    shot(page, "picture")
    page.locator("[data-photo-position]").scroll_into_view_if_needed()
    if os.environ.get("SHOTS"):
        page.screenshot(path=f"{os.environ['SHOTS']}/picture-offer-360.png")
    page.get_by_role("button", name=LEAVE).click()
    expect(page.get_by_text(question)).to_have_count(0)
    assert values(page) == ["", "", ""]
    add_picture(page, 2)
    page.get_by_role("button", name=USE).click()
    assert values(page) == ["54.50010 N, 2.50000 W", "8", "photo"]
    await_true(lambda: stored(draft).get("position_source") == "photo", "the draft has it not")
    assert_accessible(page)
    kept = [Path(photo.file.path).read_bytes() for photo in Photo.objects.of_group(cast.group)]
    assert len(kept) == 2
    assert not any(b"Exif" in content for content in kept)
