"""Charts as a reader without a mouse, without colours or without sight meets them."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from tests.alerts.conftest import Watch, approved_visit, watch
from tests.browser.checks import PageFor, assert_accessible
from tests.browser.test_alert_pages import keep
from tests.factories import days_ago

__all__ = ["watch"]
pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def told(watch: Watch) -> Watch:
    """A gap of four months, a range, a visit of other effort and one below the trigger."""
    cast = watch.cast
    for day, score in ((520, 51), (490, 46), (460, 49), (430, 55), (400, 44)):
        visit = approved_visit(watch.site, cast.coordinator, cast.other_volunteer, days_ago(day), bmwp=score)
        if score == 49:
            visit.scores.update(low=41, high=58)
    watch.submit_clean(visited_on=days_ago(15).isoformat(), spots=[{"number": 1, "kicks": 3, "seconds": 30}])
    watch.submit_low()
    return watch


def drawings(page: Page) -> list[str]:
    """The names of the charts that can be seen, as the browser tells them to a screen reader."""
    shown = page.get_by_role("img").all()
    return [each.locator("title").first.text_content() or "" for each in shown if each.locator("title").count()]


def test_a_chart_is_named_and_its_figures_are_reached_by_keyboard(page_for: PageFor, told: Watch) -> None:
    page = page_for(told.cast.coordinator, 360)
    page.goto(reverse("site_detail", args=[told.cast.group.slug, told.site.pk]))
    name = next(each for each in drawings(page) if "visits from" in each)
    assert "below the trigger: 1; effort not standard: 1" in name
    page.get_by_text("The same figures as a table").focus()
    page.keyboard.press("Enter")
    region = page.get_by_role("region", name="Scores at this site")
    assert region.get_by_role("row").count() == 1 + 8 + 5 + 2
    page.keyboard.press("Tab")
    assert region.evaluate("each => each === document.activeElement")
    assert "(41–58)" in region.inner_text()
    keep(page, "site")
    assert_accessible(page)


def test_the_charts_for_coordinators_pass_with_every_table_open(page_for: PageFor, told: Watch) -> None:
    page = page_for(told.cast.coordinator)
    page.goto(reverse("trigger_set", args=[told.cast.group.slug, told.site.pk]))
    page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true })")
    assert len(drawings(page)) == 5
    keep(page, "trigger")
    assert_accessible(page)
