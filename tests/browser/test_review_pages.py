"""Checking visits by keyboard in a real browser."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from surveys.models import Visit
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import days_ago, submit

pytestmark = pytest.mark.django_db(transaction=True)


def test_keys_approve_and_lead_on_and_rest_while_somebody_types(cast: Cast, page_for: PageFor) -> None:
    first, second, third = (
        submit(cast.person("volunteer"), cast.site, visited_on=days_ago(day).isoformat())
        for day in (40, 20, 10)
    )
    page = page_for(cast.coordinator)
    page.goto(reverse("review_queue", args=[cast.group.slug]))
    page.keyboard.press("n")
    expect(page).to_have_url(re.compile(str(first.pk)))
    assert_accessible(page)
    page.keyboard.press("q")
    page.keyboard.type("na")
    expect(page.get_by_label("Question to the recorder")).to_have_value("na")
    page.keyboard.press("Escape")
    page.keyboard.press("a")
    expect(page).to_have_url(re.compile(str(second.pk)))
    page.keyboard.press("n")
    expect(page).to_have_url(re.compile(str(third.pk)))
    states = Visit.objects.of_group(cast.group).values_list("pk", "status")
    assert dict(states) == {first.pk: "approved", second.pk: "waiting", third.pk: "waiting"}
