"""Counting with cold hands, in a real browser: tally, undo, contradictions, the key's finds, a first score."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import Locator, Page, expect

from surveys.models import Draft
from surveys.services.drafts import start_visit
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
NARROW = 320
# Longer than the script takes a second press for a bounce of a wet thumb.
BETWEEN_PRESSES = 170
LEAST_TARGET = 48


@pytest.fixture
def draft(cast: Cast) -> Draft:
    return start_visit(person=cast.person("volunteer"), site=cast.site)


@pytest.fixture
def page(cast: Cast, draft: Draft, page_for: PageFor) -> Page:
    opened = page_for(cast.volunteer, width=NARROW, has_touch=True, is_mobile=True)
    opened.goto(reverse("visit_submit", kwargs={"slug": cast.group.slug, "draft_id": draft.pk}))
    return opened


def row_of(page: Page, taxon: str) -> Locator:
    return page.locator(".count-row").filter(has=page.locator(f"[name='counts-{taxon}-count']"))


def field(page: Page, taxon: str, part: str = "count") -> Locator:
    return page.locator(f"[name='counts-{taxon}-{part}']")


def press(page: Page, taxon: str, step: int = 1, times: int = 1) -> None:
    for _ in range(times):
        row_of(page, taxon).locator(f"[data-step='{step}']").tap()
        page.wait_for_timeout(BETWEEN_PRESSES)


def undo(page: Page) -> None:
    page.get_by_role("button", name="Undo").tap()


def dispatch_found(page: Page, taxon: str) -> None:
    page.evaluate(
        "taxon => document.querySelector('#visit-form')"
        ".dispatchEvent(new CustomEvent('taxon-found', {bubbles: true, detail: {taxon}}))",
        taxon,
    )


def test_a_thumb_counts_and_takes_back_several_steps(page: Page) -> None:
    press(page, "Heptageniidae", times=3)
    press(page, "Baetidae")
    press(page, "Heptageniidae", step=-1)
    expect(field(page, "Heptageniidae")).to_have_value("2")
    expect(page.get_by_text("3 animals, 2 taxa")).to_be_visible()
    undo(page)
    expect(page.locator("[data-tray-said]")).to_have_text("Undone. Heptageniidae: 3")
    expect(page.locator("[data-last-step]")).to_have_text("Undone. Heptageniidae: 3")
    undo(page)
    undo(page)
    expect(field(page, "Baetidae")).to_have_value("")
    expect(field(page, "Heptageniidae")).to_have_value("2")
    expect(page.get_by_text("2 animals, 1 taxon")).to_be_visible()


@pytest.mark.long
def test_it_takes_back_what_was_typed_chosen_and_ticked(page: Page) -> None:
    field(page, "Baetidae").fill("12")
    field(page, "Baetidae").blur()
    field(page, "Caenidae", "range").select_option("10-99")
    page.get_by_role("button", name="for the rest of these").first.tap()
    expect(field(page, "Siphlonuridae", "none")).to_be_checked()
    expect(field(page, "Baetidae", "none")).not_to_be_checked()
    undo(page)
    expect(page.locator("[data-tray-said]")).to_have_text("Undone. several groups")
    expect(field(page, "Siphlonuridae", "none")).not_to_be_checked()
    undo(page)
    expect(page.locator("[data-tray-said]")).to_have_text("Undone. Caenidae: nothing")
    undo(page)
    expect(field(page, "Baetidae")).to_have_value("")
    # The end is told apart by a mark, and pressing on does no harm.
    expect(page.get_by_role("button", name="Undo")).to_have_attribute("aria-disabled", "true")
    page.locator("[data-undo]").dispatch_event("click")
    expect(page.get_by_text("0 animals, 0 taxa")).to_be_visible()


def test_a_bouncing_thumb_and_a_held_key_count_once(page: Page) -> None:
    button = row_of(page, "Baetidae").locator("[data-step='1']")
    button.evaluate("button => { button.click(); button.click(); button.click(); }")
    expect(field(page, "Baetidae")).to_have_value("1")
    button.focus()
    prevented = button.evaluate(
        "button => !button.dispatchEvent(new KeyboardEvent('keydown',"
        " {key: 'Enter', repeat: true, bubbles: true, cancelable: true}))"
    )
    assert prevented


@pytest.mark.long
def test_back_at_nought_nothing_is_said_of_a_group(page: Page) -> None:
    press(page, "Baetidae")
    press(page, "Baetidae", step=-1)
    expect(field(page, "Baetidae")).to_have_value("")
    expect(field(page, "Baetidae", "none")).not_to_be_checked()


@pytest.mark.long
def test_one_found_after_all_takes_the_tick_away(page: Page) -> None:
    field(page, "Baetidae", "none").check()
    press(page, "Baetidae")
    expect(field(page, "Baetidae", "none")).not_to_be_checked()
    undo(page)
    expect(field(page, "Baetidae", "none")).to_be_checked()


@pytest.mark.long
def test_nothing_moves_under_a_thumb_on_its_way(page: Page) -> None:
    bar = page.locator("[data-tray-bar]")
    before = bar.evaluate("bar => bar.offsetHeight")
    field(page, "Heptageniidae").fill("123456")
    field(page, "Caenidae", "range").select_option("1000+")
    expect(page.get_by_text("at least 124,456 animals, 2 taxa")).to_be_visible()
    assert bar.evaluate("bar => bar.offsetHeight") == before


@pytest.mark.long
def test_it_counts_nothing_onto_a_range_or_a_word(page: Page) -> None:
    field(page, "Baetidae", "range").select_option("10-99")
    press(page, "Baetidae")
    expect(page.locator("[data-tray-said]")).to_have_text(
        "Baetidae: It is recorded roughly. Clear that first to count one by one."
    )
    expect(field(page, "Baetidae")).to_have_value("")
    field(page, "Caenidae").fill("a few")
    press(page, "Caenidae")
    expect(field(page, "Caenidae")).to_have_value("a few")
    expect(row_of(page, "Caenidae").get_by_text("Write a whole number, such as 12.")).to_be_visible()


def test_it_says_at_once_what_contradicts(page: Page) -> None:
    field(page, "Baetidae", "range").select_option("10-99")
    # On the way from 1 to 12 nothing is wrong yet.
    field(page, "Baetidae").type("1")
    expect(row_of(page, "Baetidae").locator(".tray-said")).to_have_count(0)
    field(page, "Baetidae").blur()
    expect(row_of(page, "Baetidae").get_by_text("The count lies outside the range you chose.")).to_be_visible()
    field(page, "Baetidae").fill("12")
    expect(row_of(page, "Baetidae").locator(".tray-said")).to_have_count(0)
    page.get_by_label("Fraction sorted").fill("5/4")
    page.get_by_label("Fraction sorted").blur()
    expect(page.get_by_text("Write a fraction such as 1/4")).to_be_visible()


def test_the_tally_shows_what_was_found_and_what_is_searched(page: Page) -> None:
    page.get_by_role("button", name="Tally").tap()
    expect(page.get_by_text("Nothing found yet.")).to_be_visible()
    page.get_by_label("Find a group").fill("swimming mayfly")
    press(page, "Baetidae")
    press(page, "Baetidae", step=10)
    page.get_by_role("button", name="Clear the search").tap()
    expect(row_of(page, "Baetidae")).to_be_visible()
    expect(row_of(page, "Caenidae")).to_be_hidden()
    for step in (-1, 1, 10):
        box = row_of(page, "Baetidae").locator(f"[data-step='{step}']").bounding_box()
        assert box
        assert min(box["width"], box["height"]) >= LEAST_TARGET
    assert_accessible(page)
    # A row taken back to nothing stays under the thumb until something else is looked for.
    press(page, "Baetidae", step=-1, times=1)
    for _ in range(3):
        undo(page)
    expect(field(page, "Baetidae")).to_have_value("")
    expect(row_of(page, "Baetidae")).to_be_visible()
    page.get_by_role("button", name="All groups").tap()
    expect(row_of(page, "Caenidae")).to_be_visible()


@pytest.mark.long
def test_large_letters_leave_the_buttons_on_the_screen(page: Page) -> None:
    page.get_by_role("button", name="Tally").tap()
    page.get_by_label("Find a group").fill("baetidae")
    page.locator("html").evaluate("html => { html.style.fontSize = '200%'; }")
    for step in (-1, 1, 10):
        button = row_of(page, "Baetidae").locator(f"[data-step='{step}']")
        assert button.evaluate("button => button.scrollWidth <= button.clientWidth")
        box = button.bounding_box()
        assert box
        assert box["x"] + box["width"] <= NARROW


@pytest.mark.long
def test_the_phone_remembers_how_somebody_counts(page: Page) -> None:
    page.get_by_role("button", name="Tally").tap()
    page.reload()
    expect(page.get_by_role("button", name="Tally")).to_have_attribute("aria-pressed", "true")


def test_a_find_of_the_key_waits_at_its_row(cast: Cast, draft: Draft, page: Page) -> None:
    dispatch_found(page, "Gammaridae")
    button = row_of(page, "Gammaridae").locator("[data-step='1']")
    expect(button).to_be_focused()
    expect(row_of(page, "Gammaridae").get_by_label("found with the key")).to_be_checked()
    expect(page.get_by_text("Found with the key: say how many there were.")).to_be_visible()
    assert_accessible(page)
    button.tap()
    expect(row_of(page, "Gammaridae").locator(".tray-said")).to_have_count(0)
    page.get_by_role("button", name="Save and go on later").tap()
    expect(page.get_by_text("Your draft is saved.")).to_be_visible()
    draft.refresh_from_db()
    assert draft.data["counts"] == [{"taxon": "Gammaridae", "recorded_as": "", "count": "1", "by_key": True}]


@pytest.mark.long
def test_a_find_that_the_list_lacks_gets_a_row_of_its_own(page: Page) -> None:
    dispatch_found(page, "Salifidae")
    expect(page.locator("[name=other-1-name]")).to_have_value("Salifidae")
    expect(page.locator("[name=other-1-key]")).to_be_checked()
    dispatch_found(page, "Salifidae")
    expect(page.locator("[name=other-2-name]")).to_have_value("")


def test_the_score_waits_until_it_is_asked_for(page: Page) -> None:
    field(page, "Heptageniidae").fill("12")
    field(page, "Elmidae", "range").evaluate("field => (field.value = '10-99')")
    headline = page.locator("[data-score=bmwp] [data-value]")
    expect(headline).to_be_hidden()
    page.get_by_text("Provisional score").tap()
    expect(headline).to_have_text("15")
    expect(page.get_by_text("The portal scores it again when it arrives.")).to_be_visible()
    page.get_by_text("Other indices").tap()
    expect(page.locator("[data-score=bankside] [data-value]")).to_have_text("3.8")
    field(page, "Baetidae", "range").evaluate(
        "field => { field.value = '10-99'; field.dispatchEvent(new Event('input', {bubbles: true})); }"
    )
    expect(page.locator("[data-score=bankside]").get_by_text("from 4.6 to 6.9")).to_be_visible()
    assert_accessible(page)
    # Nothing is better than something wrong.
    page.locator("[name=other-1-name]").fill("Nobodyidae")
    page.locator("[name=other-1-count]").fill("3")
    expect(headline).to_be_hidden()
    expect(page.get_by_text("No score here: a name or the fraction sorted")).to_be_visible()


@pytest.mark.long
def test_what_is_put_back_is_counted_and_starts_anew(page: Page) -> None:
    press(page, "Baetidae")
    page.evaluate(
        """() => {
          document.querySelector("[name=counts-Caenidae-count]").value = "7";
          document.querySelector("#visit-form").dispatchEvent(new Event("restored"));
        }"""
    )
    expect(page.get_by_text("8 animals, 2 taxa")).to_be_visible()
    expect(page.get_by_role("button", name="Undo")).to_have_attribute("aria-disabled", "true")
