"""From the public page to the rota: somebody asks, comes along once, is invited, joins and is proposed."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from portal.accounts.models import Group
from portal.jobs.models import Job
from portal.jobs.working import work_off
from portal.outbox.models import Message
from surveys.rota.models import Assignment
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.rota.making import offer_days

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
NEWT = "newt@example.org"


def path_in(kind: str) -> str:
    """The path of the first link in the newcomer's mail of this kind."""
    mail = Message.objects.across_groups("test").filter(kind=kind, to_address=NEWT).latest("created_at")
    found = re.search(r"https?://\S+", mail.text)
    assert found, mail.text
    return urlsplit(found.group()).path


def ask(page: Page, group: Group) -> None:
    """The newcomer, on a phone and without an account."""
    page.goto(reverse("enquiry_ask", args=[group.slug]))
    assert_accessible(page)
    page.get_by_label("Your name").fill("Newt Brook")
    page.get_by_label("Your e-mail address").fill(NEWT)
    page.get_by_label("What you would like").fill("Go along once, on a Sunday.")
    page.get_by_label("I agree that this is kept as said below").check()
    page.get_by_role("button", name="Send").click()
    expect(page.get_by_label("Your name")).to_have_count(0)
    assert_accessible(page)
    page.goto(path_in("enquiry.confirm"))
    page.get_by_role("button", name="Yes, it was me").click()
    expect(page.get_by_text("the coordinators have your enquiry now", exact=False)).to_be_visible()
    assert_accessible(page)


def lead_on(page: Page, cast: Cast) -> None:
    """The coordinator: a first visit beside Vera, they came, they are invited to join."""
    page.goto(reverse("enquiry_list", args=[cast.group.slug]))
    assert_accessible(page)
    page.get_by_role("link", name="Newt Brook").click()
    page.get_by_text("Invite to a first visit").click()
    assert_accessible(page)
    page.get_by_label("Day").fill(timezone.localdate().isoformat())
    page.get_by_label("Site").select_option(label="AB1 Stepping stones")
    page.get_by_label("Who looks after them").select_option(label="Vera Example")
    page.get_by_role("button", name="Invite to this visit").click()
    page.get_by_role("button", name="They came along").click()
    page.get_by_role("button", name="Invite to join").click()
    expect(page.get_by_text("The invitation to join is on its way.")).to_be_visible()
    assert_accessible(page)


def join(page: Page, group: Group) -> None:
    """The newcomer makes an account and says when they can."""
    page.goto(path_in("invitation"))
    assert_accessible(page)
    page.get_by_label("Your name").fill("Newt Brook")
    for each in page.locator("input[type=password]").all():
        each.fill("a-quiet-riffle-7")
    page.get_by_role("button", name="Make my account and join").click()
    page.goto(reverse("availability_edit", args=[group.slug]))
    for day in ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"):
        page.get_by_label(day).check()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Saved.", exact=False)).to_be_visible()
    assert_accessible(page)


def test_from_the_public_page_to_the_rota(cast: Cast, page_for: PageFor) -> None:
    Group.objects.update(is_public=True)
    offer_days(cast.group, cast.volunteer)
    newcomer, coordinator = page_for(width=360), page_for(cast.coordinator)
    ask(newcomer, cast.group)
    lead_on(coordinator, cast)
    join(newcomer, cast.group)
    coordinator.goto(reverse("rota_draft", args=[cast.group.slug]))
    coordinator.get_by_role("button", name="Propose a rota").click()
    expect(coordinator.get_by_role("button", name="Stop it")).to_be_visible()
    assert_accessible(coordinator)
    work_off(Job.objects.of_group(cast.group).get(kind="rota").pk)
    coordinator.get_by_role("link", name="See what came of it").click()
    expect(coordinator.get_by_text("Newt Brook").first).to_be_visible()
    assert_accessible(coordinator)
    coordinator.get_by_role("button", name="Publish and tell everybody").click()
    newcomer.goto(path_in("rota.planned"))
    newcomer.get_by_role("button", name="Yes, I can").click()
    expect(newcomer.get_by_text("You have said yes.")).to_be_visible()
    assert_accessible(newcomer)
    place = Assignment.objects.of_group(cast.group).filter(user__email=NEWT).order_by("day").first()
    assert place is not None
    assert place.state == Assignment.State.ACCEPTED
