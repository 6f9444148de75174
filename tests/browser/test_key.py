"""The key in a real browser: step by step with a way back, without a script, and inside the form of a visit."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import Locator, Page, expect

from surveys.services.built_in_lists import ensure_bankside_list
from surveys.services.drafts import start_visit
from tests.browser.bank.steps import form_address, new_number
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PHONE = 360
TO_STONEFLY = ("Jointed legs, no shell", "Three pairs: an insect", "long, thin tails", "Two tails, no gills")


@pytest.fixture
def page(page_for: PageFor) -> Page:
    opened = page_for(width=PHONE)
    opened.goto(reverse("bank_key"))
    return opened


def answer(place: Page | Locator, *words: str) -> None:
    for each in words:
        place.get_by_role("link", name=each).click()


def heading(place: Page | Locator, words: str) -> Locator:
    return place.get_by_role("heading", name=words, exact=True)


def test_it_asks_one_question_at_a_time_and_tells_where_one_is(page: Page) -> None:
    expect(page.locator("[data-key-part]:visible")).to_have_count(1)
    expect(page.get_by_role("navigation", name="Your answers so far")).to_be_hidden()
    answer(page, *TO_STONEFLY[:2])
    expect(page.locator("[data-key-part]:visible")).to_have_count(1)
    expect(heading(page, "Six legs: what is at the end of the body?")).to_be_focused()
    expect(page.locator("[data-key-said]")).to_have_text("Question 3")
    answer(page, *TO_STONEFLY[2:], "No wing pads")
    expect(heading(page, "Plecoptera")).to_be_focused()
    expect(page.locator("[data-key-said]")).to_have_text("Result")
    trail = page.get_by_role("navigation", name="Your answers so far")
    expect(trail.get_by_role("listitem")).to_have_count(5)
    expect(trail.get_by_role("listitem").nth(1)).to_have_text("How many legs? Three pairs: an insect")


@pytest.mark.long
def test_it_goes_back_by_its_button_by_the_trail_and_by_the_browser(page: Page) -> None:
    answer(page, *TO_STONEFLY)
    page.get_by_role("link", name="Back one step").click()
    expect(heading(page, "Thread-like tails: are there gills along the sides of the abdomen?")).to_be_focused()
    page.go_back()
    expect(heading(page, "Stonefly: how is it built?")).to_be_visible()
    page.get_by_role("navigation", name="Your answers so far").get_by_role(
        "link", name="How many legs?"
    ).click()
    expect(heading(page, "How many legs?")).to_be_focused()
    page.get_by_role("link", name="Start again").click()
    expect(heading(page, "What has the animal about it?")).to_be_focused()


@pytest.mark.long
def test_the_way_back_from_a_result_is_the_way_one_came(page: Page) -> None:
    # Sand cases and rough ones both lead to the family.
    case = "A case of its own make"
    answer(page, case, "A plain tube", "Sand only, smooth", "Straight or nearly so")
    expect(heading(page, "Limnephilidae")).to_be_visible()
    page.get_by_role("link", name="Back one step").click()
    expect(heading(page, "Tube of sand: what else?")).to_be_visible()
    page.get_by_role("link", name="Back one step").click()
    answer(page, "Twigs, leaves", "About as long as the middle legs")
    page.get_by_role("link", name="Back one step").click()
    expect(heading(page, "Rough tube: how long are the hind legs?")).to_be_visible()


@pytest.mark.long
def test_every_step_has_an_address_of_its_own(page: Page) -> None:
    answer(page, *TO_STONEFLY)
    page.reload()
    expect(heading(page, "Stonefly: how is it built?")).to_be_visible()
    expect(page.get_by_role("navigation", name="Your answers so far").get_by_role("listitem")).to_have_count(4)


@pytest.mark.long
def test_it_is_walked_by_keyboard_alone(page: Page) -> None:
    page.get_by_role("link", name="Jointed legs, no shell").focus()
    page.keyboard.press("Enter")
    expect(heading(page, "How many legs?")).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Three pairs: an insect")).to_be_focused()


@pytest.mark.long
def test_without_a_script_the_outline_leads_on(page_for: PageFor) -> None:
    page = page_for(width=PHONE, java_script_enabled=False)
    page.goto(reverse("bank_key"))
    answer(page, "A hard shell of one or two parts")
    assert page.url.endswith("#key-shell")
    expect(heading(page, "Shell: of how many parts?")).to_be_in_viewport()
    expect(heading(page, "Physidae")).to_be_visible()


def test_a_step_and_a_result_are_accessible(page: Page) -> None:
    answer(page, *TO_STONEFLY)
    assert_accessible(page)
    answer(page, "Slim, yellow or green")
    assert_accessible(page)
    expect(page.get_by_role("img", name="A small slim stonefly nymph")).to_be_visible()


@pytest.fixture
def form_page(cast: Cast, page_for: PageFor) -> Page:
    draft = start_visit(person=cast.person("volunteer"), site=cast.site)
    opened = page_for(cast.volunteer, width=320)
    opened.goto(reverse("visit_submit", kwargs={"slug": cast.group.slug, "draft_id": draft.pk}))
    return opened


def open_key(page: Page) -> Locator:
    page.get_by_role("button", name="What is it?").click()
    dialog = page.get_by_role("dialog", name="What is it?")
    expect(heading(dialog, "What has the animal about it?")).to_be_visible()
    return dialog


def test_a_result_goes_into_the_form_and_says_that_the_key_found_it(form_page: Page) -> None:
    address = form_page.url
    dialog = open_key(form_page)
    answer(dialog, *TO_STONEFLY, "Slim, yellow or green")
    dialog.get_by_role("button", name="Use this: Chloroperlidae").click()
    expect(dialog).to_be_hidden()
    expect(form_page.locator("[name='counts-Chloroperlidae-key']")).to_be_checked()
    expect(form_page.locator("[name='counts-Chloroperlidae-count']")).to_be_visible()
    assert form_page.url == address
    # Opened again, it begins anew.
    open_key(form_page)


@pytest.mark.long
def test_the_dialog_is_accessible_and_closes_by_button_and_key(form_page: Page) -> None:
    dialog = open_key(form_page)
    answer(dialog, *TO_STONEFLY)
    assert_accessible(form_page)
    answer(dialog, "No wing pads")
    assert_accessible(form_page)
    form_page.keyboard.press("Escape")
    expect(dialog).to_be_hidden()
    expect(form_page.get_by_role("button", name="What is it?")).to_be_focused()
    open_key(form_page).get_by_role("button", name="Close").click()
    expect(dialog).to_be_hidden()


@pytest.mark.long
def test_a_group_that_the_list_only_has_in_parts_is_recorded_as_the_group(form_page: Page) -> None:
    dialog = open_key(form_page)
    answer(dialog, *TO_STONEFLY, "No wing pads")
    expect(dialog.get_by_text("Your list has no line for Plecoptera as a whole, but lines for")).to_be_visible()
    expect(dialog.locator("[data-key-use]:visible")).to_contain_text("It goes among “Other taxa you found”.")
    dialog.get_by_role("button", name="Use this: Plecoptera").click()
    expect(form_page.locator("[name=other-1-name]")).to_have_value("Plecoptera")
    expect(form_page.locator("[name=other-1-key]")).to_be_checked()


@pytest.mark.long
def test_where_only_a_microscope_helps_the_broader_group_comes_first(form_page: Page) -> None:
    dialog = open_key(form_page)
    answer(dialog, *TO_STONEFLY, "Long and thin as a needle", "Widening towards the end")
    uses = dialog.locator("[data-key-taxon]:visible")
    expect(uses).to_have_text(["In doubt: use Plecoptera", "Use this: Capniidae"])


@pytest.mark.long
def test_on_the_bankside_list_a_family_is_recorded_under_its_group(cast: Cast, page_for: PageFor) -> None:
    cast.site.recording_list = ensure_bankside_list()
    cast.site.save()
    page = page_for(cast.volunteer, width=PHONE)
    page.goto(form_address(cast.site, new_number()))
    dialog = open_key(page)
    answer(dialog, *TO_STONEFLY, "Slim, yellow or green")
    expect(
        dialog.get_by_text("Your list has no line for Chloroperlidae. Record it under Plecoptera.")
    ).to_be_visible()
    dialog.get_by_role("button", name="Use this: Plecoptera").click()
    expect(page.locator("[name='counts-Plecoptera-key']")).to_be_checked()


@pytest.mark.long
def test_a_key_that_cannot_be_fetched_says_so_and_is_tried_again(form_page: Page) -> None:
    form_page.route("**/bank/key/", lambda route: route.abort())
    form_page.get_by_role("button", name="What is it?").click()
    dialog = form_page.get_by_role("dialog", name="What is it?")
    expect(dialog.get_by_role("alert")).to_contain_text("The key could not be opened")
    form_page.unroute("**/bank/key/")
    dialog.get_by_role("button", name="Close").click()
    expect(open_key(form_page).get_by_role("alert")).to_be_hidden()


def test_a_phone_that_was_made_ready_opens_it_without_a_network(cast: Cast, page_for: PageFor) -> None:
    page = page_for(cast.volunteer, width=PHONE, service_workers="allow")
    page.goto(reverse("bank_home"))
    expect(page.get_by_text("Ready for the bank")).to_be_visible()
    page.context.set_offline(True)
    page.goto(form_address(cast.site, new_number()))
    dialog = open_key(page)
    answer(dialog, *TO_STONEFLY)
    expect(dialog.get_by_role("img", name="A needle-like stonefly nymph").first).to_be_visible()
    page.goto(reverse("bank_key"))
    expect(heading(page, "What has the animal about it?")).to_be_visible()
