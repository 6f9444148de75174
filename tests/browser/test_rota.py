"""The rota in a real browser: made and published, a swap taken by link without scripts, a calendar read."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

import pytest
import vobject
from django.urls import reverse
from playwright.sync_api import Page, expect

from portal.jobs.models import Job
from portal.jobs.working import work_off
from portal.outbox.models import Message
from surveys.rota.links import PLACE
from surveys.rota.models import Assignment, PlannedVisit
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import SiteFactory
from tests.rota.conftest import ahead, names_on
from tests.rota.making import offer_days, plan, put_on

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def path_in(kind: str, to: str, part: str) -> str:
    """The path of the first link with this part in the mail of one kind to one person."""
    mail = Message.objects.across_groups("test").filter(kind=kind, to_address=to).latest("created_at")
    found = re.search(rf"https?://\S+/{part}/\S+", mail.text)
    assert found, mail.text
    return urlsplit(found.group()).path


def say_when(page: Page, cast: Cast) -> None:
    """A volunteer says on a phone when they can."""
    page.goto(reverse("availability_edit", args=[cast.group.slug]))
    for day in ("Saturday", "Sunday"):
        page.get_by_label(day).check()
    page.get_by_label("visits a month at most").fill("3")
    page.get_by_label("Roughly where you start from").fill("54.51, -2.49")
    page.get_by_label("how far you travel, km").fill("20")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Saved.")).to_be_visible()
    assert_accessible(page)


def test_a_rota_is_made_changed_and_published(cast: Cast, page_for: PageFor) -> None:
    say_when(page_for(cast.volunteer, width=360), cast)
    offer_days(cast.group, cast.other_volunteer)
    page = page_for(cast.coordinator)
    page.goto(reverse("rota_page", args=[cast.group.slug]))
    page.get_by_role("link", name="Propose and publish").click()
    page.get_by_label("Weeks").fill("2")
    page.get_by_role("button", name="Propose a rota").click()
    expect(page.get_by_role("button", name="Stop it")).to_be_visible()
    work_off(Job.objects.of_group(cast.group).get(kind="rota").pk)
    # The page sees by itself that the work has ended.
    page.get_by_role("link", name="See what came of it").click()
    expect(page.get_by_text("Lives about 1 km away", exact=False)).to_be_visible()
    assert_accessible(page)
    page.get_by_role("link", name="AB1 Stepping stones", exact=False).click()
    page.get_by_role("button", name="Take off Owen Example").click()
    page.get_by_label("Put somebody down").select_option(label="Cora Example: has not said when they can")
    page.get_by_role("button", name="Put down").click()
    expect(page.get_by_text("Cora Example is down for it.")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("link", name="Draft of the rota").click()
    page.get_by_role("button", name="Publish and tell everybody").click()
    expect(page.get_by_text("Published.", exact=False)).to_be_visible()
    assert_accessible(page)
    planned = PlannedVisit.objects.of_group(cast.group).get(state="published")
    assert names_on(planned) == {"Vera", "Cora"}
    answer = page_for(width=360, java_script_enabled=False)
    answer.goto(path_in("rota.planned", "vera@example.org", "rota"))
    answer.get_by_role("button", name="Yes, I can").click()
    expect(answer.get_by_text("You have said yes.")).to_be_visible()


def test_a_swap_goes_by_links_without_scripts(cast: Cast, page_for: PageFor) -> None:
    other = SiteFactory(group=cast.group, code="AB2", name="Weir pool")
    mine = put_on(plan(cast.site, ahead(3)), cast.volunteer)
    yours = put_on(plan(other, ahead(9)), cast.other_volunteer)
    page = page_for(width=360, java_script_enabled=False)
    page.goto(reverse("rota_link", args=[PLACE.make(mine.pk)]))
    page.get_by_text("Swap with somebody").click()
    page.get_by_label("Swap with").select_option(value=str(yours.pk))
    page.get_by_role("button", name="Ask for the swap").click()
    expect(page.get_by_text("They are asked by e-mail.", exact=False)).to_be_visible()
    page.goto(path_in("rota.swap", "owen@example.org", "swap"))
    page.get_by_role("button", name="I agree").click()
    expect(page.get_by_text("you have changed places", exact=False)).to_be_visible()
    assert [names_on(each.planned) for each in (mine, yours)] == [{"Owen"}, {"Vera"}]


def test_a_calendar_is_subscribed_to(cast: Cast, page_for: PageFor) -> None:
    put_on(plan(cast.site, ahead(3)), cast.volunteer)
    page = page_for(cast.volunteer, width=360)
    page.goto(reverse("availability_edit", args=[cast.group.slug]))
    page.get_by_role("button", name="Make the address of my calendar").click()
    address = page.get_by_label("Address of my calendar").input_value()
    assert_accessible(page)
    answer = page_for().request.get(urlsplit(address).path)
    calendar = vobject.readOne(answer.text())
    assert [each.summary.value for each in calendar.vevent_list] == ["Visit to AB1 Stepping stones"]
    assert Assignment.objects.of_group(cast.group).count() == 1
