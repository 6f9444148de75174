"""A coordinator's Sunday evening in a real browser: thirty visits wait, and every one is decided.

Seventeen clean ones are approved at once, six by keyboard, four are returned with words, one is asked about and
approved by what the recorder answers, one that was typed twice is returned, and the coordinator's own is left
to the guest reviewer.
"""

from __future__ import annotations

import re
from collections import Counter

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from portal.accounts.models import Role
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from surveys.models import Finding, Visit, VisitQuestion
from surveys.services.photos import add_photo
from tests.access.world import picture
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago, member_of, submit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
CLEAN, ODD, ALL = 17, 11, 30
# Not all of the day's readings are usual: each of these visits has a finding of its own.
ODD_PH = {"ph": {"value": "9.4"}}
APPROVED_BY_KEY = 6


@pytest.fixture
def thirty(cast: Cast) -> dict[str, list[Visit]]:
    """The visits that wait, by what becomes of them, in the order in which they came."""
    volunteer, sites = cast.person("volunteer"), [cast.site]
    sites += [SiteFactory(group=cast.group, code=f"AB{number}") for number in range(2, 5)]
    waiting = {
        "clean": [
            submit(volunteer, sites[number % 4], visited_on=days_ago(90 - number).isoformat())
            for number in range(CLEAN)
        ],
        "odd": [
            submit(
                volunteer, sites[number % 4], visited_on=days_ago(60 - number).isoformat(), measurements=ODD_PH
            )
            for number in range(ODD)
        ],
    }
    waiting["twice"] = [submit(volunteer, sites[0], visited_on=days_ago(90).isoformat())]
    waiting["own"] = [submit(cast.person("coordinator"), sites[1], visited_on=days_ago(5).isoformat())]
    assert sum(len(each) for each in waiting.values()) == ALL
    return waiting


def go_to(page: Page, visit: Visit) -> None:
    page.goto(reverse("visit_review", args=[visit.group.slug, visit.pk]))


def at(page: Page, visit: Visit) -> None:
    expect(page).to_have_url(re.compile(str(visit.pk)))


def approve_clean_ones(page: Page, cast: Cast) -> None:
    page.goto(reverse("review_queue", args=[cast.group.slug]))
    expect(page.get_by_text(f"{ALL} visits wait")).to_be_visible()
    page.get_by_role("button", name="Tick all that can be").click()
    assert page.locator("input[name=visit]:checked").count() == CLEAN
    page.get_by_role("button", name="Approve those ticked").click()
    expect(page.get_by_text(f"{CLEAN} visits approved")).to_be_visible()


def return_with_words(page: Page, words: str) -> None:
    page.keyboard.press("r")
    page.keyboard.type(words)
    page.get_by_role("button", name="Return to the recorder").click()


def ask(page: Page, visit: Visit) -> None:
    go_to(page, visit)
    page.keyboard.press("q")
    page.keyboard.type("Which meter did you use?")
    page.get_by_role("button", name="Send the question").click()
    expect(page.get_by_text("no answer yet")).to_be_visible()


def answer(page: Page, visit: Visit) -> None:
    page.goto(reverse("visit_detail", args=[visit.group.slug, visit.pk]))
    page.get_by_role("link", name="Answer it").click()
    page.get_by_label("Answer").fill("The old one, after its check.")
    page.get_by_role("button", name="Send the answer").click()


def states(cast: Cast) -> Counter[str]:
    return Counter(Visit.objects.of_group(cast.group).values_list("status", flat=True))


@pytest.mark.long
def test_thirty_waiting_visits_are_decided(
    cast: Cast, thirty: dict[str, list[Visit]], page_for: PageFor
) -> None:
    odd, (twice,), (own,) = thirty["odd"], thirty["twice"], thirty["own"]
    page = page_for(cast.coordinator)
    approve_clean_ones(page, cast)
    assert states(cast) == {"approved": CLEAN, "waiting": ALL - CLEAN}
    ask(page, odd[-1])
    go_to(page, odd[0])
    decide_one_by_one(page, odd[:-1])
    answer(page_for(cast.volunteer), odd[-1])
    go_to(page, odd[-1])
    expect(page.locator("#questions").get_by_text("The old one, after its check.")).to_be_visible()
    approve_with_reason(page, "Meter checked, says its recorder.")
    # Of what is left the next is the one typed twice: the coordinator's own is passed over.
    at(page, twice)
    expect(page.get_by_text("There is already a visit to this site on this day.").first).to_be_visible()
    return_with_words(page, "This came twice.")
    expect(page).to_have_url(re.compile("/review"))
    leave_own_to_the_guest(page, page_for, cast, own)
    assert_what_is_kept(cast, thirty)


def approve_with_reason(page: Page, words: str) -> None:
    # Its finding wants a reason: the first press leads there, Enter sends it.
    page.keyboard.press("a")
    page.keyboard.type(words)
    page.keyboard.press("Enter")


def decide_one_by_one(page: Page, odd: list[Visit]) -> None:
    for visit in odd[:APPROVED_BY_KEY]:
        at(page, visit)
        approve_with_reason(page, "Limestone spring above.")
        expect(page.get_by_text("Approved:")).to_be_visible()
    for visit in odd[APPROVED_BY_KEY:]:
        at(page, visit)
        return_with_words(page, "Please read the pH again.")
        expect(page.get_by_text("Returned to the recorder, who")).to_be_visible()


def leave_own_to_the_guest(page: Page, page_for: PageFor, cast: Cast, own: Visit) -> None:
    go_to(page, own)
    expect(page.get_by_text("Nobody approves their own work")).to_be_visible()
    expect(page.get_by_role("button", name="Approve")).to_have_count(0)
    page.keyboard.press("a")
    assert states(cast)["waiting"] == 1
    guest = page_for(member_of(cast.group, Role.REVIEWER, name="Greta Example", email="greta@example.org"))
    go_to(guest, own)
    guest.keyboard.press("a")
    expect(guest.get_by_text("Approved:")).to_be_visible()


def assert_what_is_kept(cast: Cast, thirty: dict[str, list[Visit]]) -> None:
    returned = 5
    assert states(cast) == {"approved": ALL - returned, "returned": returned}
    reviewers = Counter(Visit.objects.of_group(cast.group).values_list("reviewed_by__name", flat=True))
    assert reviewers == {"Cora Example": ALL - 1, "Greta Example": 1}
    entries = AuditEntry.objects.of_group(cast.group)
    done = Counter(entries.filter(verb__startswith="visit.").values_list("verb", flat=True))
    assert (done["visit.approved"], done["visit.returned"]) == (ALL - returned, returned)
    assert (done["visit.asked"], done["visit.answered"]) == (1, 1)
    accepted = Finding.objects.of_group(cast.group).filter(rule="unusual_reading", decision="accepted")
    assert accepted.count() == APPROVED_BY_KEY + 1
    (question,) = VisitQuestion.objects.of_group(cast.group)
    assert (question.visit, question.asked_of) == (thirty["odd"][-1], cast.volunteer)
    assert question.answer == "The old one, after its check."
    words = Counter(
        Visit.objects.of_group(cast.group).filter(status="returned").values_list("review_message", flat=True)
    )
    assert words == {"Please read the pH again.": 4, "This came twice.": 1}
    told = Message.objects.across_groups("of one test").filter(to_address=cast.volunteer.email)
    assert told.count() >= returned + 1


def test_pictures_are_looked_at_large_by_keyboard(cast: Cast, page_for: PageFor) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    for caption in ("Tray", "Bridge", "Bank"):
        person = cast.person("coordinator")
        add_photo(person=person, group=cast.group, visit_number=visit.pk, upload=picture(), caption=caption)
    page = page_for(cast.coordinator)
    go_to(page, visit)
    page.keyboard.press("p")
    dialog = page.get_by_role("dialog")
    expect(dialog.get_by_role("heading", name="Tray")).to_be_visible()
    assert_accessible(page)
    page.keyboard.press("ArrowLeft")
    expect(dialog.get_by_role("status")).to_have_text("3 of 3")
    dialog.get_by_role("button", name="Next picture").click()
    page.keyboard.press("ArrowRight")
    expect(dialog.get_by_role("img", name="Bridge")).to_be_visible()
    assert page.evaluate("document.querySelector('[data-photo-large] img').naturalWidth") == 8
    # Nobody approves what they do not see.
    page.keyboard.press("a")
    page.keyboard.press("Escape")
    expect(dialog).to_be_hidden()
    expect(page.get_by_role("link", name="Bridge")).to_be_focused()
    visit.refresh_from_db()
    assert visit.status == "waiting"

    plain = page_for(cast.coordinator, java_script_enabled=False)
    go_to(plain, visit)
    address = plain.get_by_role("link", name="Bridge").get_attribute("href")
    assert address
    assert plain.request.get(address).headers["content-type"] == "image/jpeg"
