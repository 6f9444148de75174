"""Trigger advice, a site's change and the methods pass axe at both widths: full, empty and with mistakes."""

from __future__ import annotations

import pytest
from django.urls import reverse

from portal.accounts.models import User
from tests.alerts.conftest import approved_visit, set_level
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def known(cast: Cast) -> Cast:
    """Two neighbouring sites with thirty visits each, one of them far below the others, and a trigger."""
    below = SiteFactory(group=cast.group, code="AB2", name="Mill tail")
    cast.site.downstream = below
    cast.site.save()
    for number in range(30):
        day = days_ago(20 + 30 * number)
        for site in (cast.site, below):
            score = 5 if number == 3 else 40 + number * 7 % 12
            approved_visit(site, cast.coordinator, cast.other_volunteer, day, score)
    set_level(cast.site, cast.coordinator)
    return cast


def look_at(page_for: PageFor, user: User | None, url: str, *words: str, status: int = 200) -> None:
    page = page_for(user)
    answer = page.goto(url)
    assert answer is not None
    assert answer.status == status
    for closed in page.locator("details").all():
        closed.evaluate("each => each.open = true")
    assert [each for each in words if each not in page.content()] == []
    assert_accessible(page)


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("?index=bmwp&level=&wanted=1&falls=5%3B+12", ("Visits out of line", "rb-chart-control", "tried")),
        ("?index=bmwp&level=&wanted=99&falls=x", ("parted by a semicolon",)),
        ("?index=aspt", ("There is no baseline visit yet",)),
    ],
)
def test_it_passes_on_the_advice_on_a_trigger(
    known: Cast, page_for: PageFor, query: str, words: tuple[str, ...]
) -> None:
    address = reverse("trigger_set", args=[known.group.slug, known.site.pk])
    look_at(page_for, known.coordinator, address + query, *words)


@pytest.mark.long
def test_it_passes_on_the_change_of_a_site(known: Cast, page_for: PageFor) -> None:
    address = reverse("site_change", args=[known.group.slug, known.site.pk])
    look_at(page_for, known.volunteer, f"{address}?since={days_ago(400)}", "Hodges-Lehmann", "Kendall")
    look_at(page_for, known.volunteer, f"{address}?since=x", "field--wrong", status=422)


@pytest.mark.parametrize("key", ["bmwp", "epa_volunteer", "shannon"])
@pytest.mark.long
def test_it_passes_on_the_page_of_a_method(db: None, page_for: PageFor, key: str) -> None:
    look_at(page_for, None, reverse("method_detail", args=[key]), "How each name was read")
    look_at(page_for, None, reverse("method_detail", args=[key]) + "?counts=x,y", "Line 1:", status=422)
