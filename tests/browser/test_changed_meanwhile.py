"""A form that was opened before somebody else changed the visit, as its recorder meets it."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import submit
from tests.processes import await_true
from tests.surveys.visits.test_changed_meanwhile import put_right

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_what_was_typed_stays_in_the_form_and_is_sent_at_the_second_time(cast: Cast, page_for: PageFor) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    page = page_for(cast.volunteer, width=360)
    page.goto(reverse("visit_mend", args=[cast.group.slug, visit.pk]))
    put_right(cast, visit)
    page.get_by_label("Notes", exact=True).fill("Typed meanwhile")
    send = page.locator(".form-actions").get_by_role("button", name="Send the mended visit")
    send.click()
    expect(page.get_by_text("Nothing is saved yet")).to_be_visible()
    expect(page.get_by_label("Notes", exact=True)).to_have_value("Typed meanwhile")
    # All is in the page: nothing is offered as left behind.
    expect(page.get_by_role("button", name="Put it back")).to_be_hidden()
    assert_accessible(page)
    send.click()
    expect(page.get_by_text("The mended visit is sent.")).to_be_visible()


def test_what_a_closed_browser_left_behind_undoes_nothing_unseen_either(cast: Cast, page_for: PageFor) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    page = page_for(cast.volunteer, width=360)
    form = reverse("visit_mend", args=[cast.group.slug, visit.pk])
    page.goto(form)
    page.get_by_label("Notes", exact=True).fill("Typed before the battery was empty")
    await_true(lambda: page.evaluate("localStorage.length") > 0, "nothing was kept")
    put_right(cast, visit)
    page.goto(form)
    page.get_by_role("button", name="Put it back").click()
    page.locator(".form-actions").get_by_role("button", name="Send the mended visit").click()
    expect(page.get_by_text("Nothing is saved yet")).to_be_visible()
    visit.refresh_from_db()
    assert visit.notes == "Put right."
