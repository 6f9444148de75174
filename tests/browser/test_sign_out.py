"""After the sign-out the browser's back button shows nothing of what was open before."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from portal.accounts.models import User
from tests.browser.checks import PageFor
from tests.conftest import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_going_back_asks_the_portal_anew(cast: Cast, page_for: PageFor) -> None:
    """While the session lasts, a page that the browser had kept would be shown as it was."""
    page = page_for(cast.volunteer)
    # The first answer sets a cookie, and so would not be kept for what is asked with it.
    for _time in range(2):
        page.goto(reverse("people_list", args=[cast.group.slug]))
    expect(page.get_by_text("Owen Example")).to_be_visible()
    page.goto(reverse("methods"))
    User.objects.filter(pk=cast.other_volunteer.pk).update(name="Odo Example")
    page.go_back()
    expect(page.get_by_text("Odo Example")).to_be_visible()


def test_the_back_button_asks_to_sign_in(cast: Cast, page_for: PageFor) -> None:
    page = page_for(cast.volunteer)
    people = reverse("people_list", args=[cast.group.slug])
    page.goto(people)
    expect(page.get_by_text("Owen Example")).to_be_visible()
    page.goto(reverse("account_logout"))
    page.get_by_role("main").get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/")
    page.go_back()
    page.go_back()
    page.wait_for_url(f"**{reverse('account_login')}?next={people}")
    expect(page.get_by_text("Owen Example")).to_have_count(0)
