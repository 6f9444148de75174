"""What the kick timer asks of a phone: sound, speech, vibration, the screen; and the page to practise on."""

from __future__ import annotations

import re
from collections.abc import Iterator
from uuid import uuid4

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from surveys.models import Draft
from tests.browser.checks import PageFor
from tests.browser.kicking import (
    PHONE,
    address_of,
    kick,
    lengths,
    log_of,
    part,
    planned_draft,
    press_start,
    stop_clock,
    timer_in_form,
    value,
)
from tests.conftest import Cast
from tests.processes import await_true

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def draft(cast: Cast) -> Draft:
    return planned_draft(cast)


@pytest.fixture
def page(cast: Cast, draft: Draft, page_for: PageFor) -> Page:
    return timer_in_form(page_for(cast.volunteer, width=PHONE), draft)


class TestChoices:
    def choose(self, page: Page, sound: str) -> None:
        page.get_by_text("Sound and vibration").click()
        part(page, "sound").select_option(sound)

    @pytest.mark.long
    def test_the_phone_remembers_them(self, page: Page, draft: Draft) -> None:
        self.choose(page, "speech")
        part(page, "shake").uncheck()
        page.goto(address_of(draft))
        part(page, "open").click()
        expect(part(page, "sound")).to_have_value("speech")
        expect(part(page, "shake")).not_to_be_checked()
        kick(page, 3)
        assert page.evaluate("window.shakes") == []

    @pytest.mark.long
    def test_it_says_which_sound_is_exact(self, page: Page) -> None:
        page.evaluate("window.voices = [{ lang: 'en-GB', localService: true }]")
        self.choose(page, "speech")
        expect(part(page, "sound-words")).to_contain_text("Start and stop are tones, which are exact.")
        part(page, "sound").select_option("tone")
        expect(part(page, "sound-words")).to_contain_text("Tones are exact")

    @pytest.mark.long
    def test_it_speaks_the_numbers_between_two_tones(self, page: Page) -> None:
        page.evaluate("window.voices = [{ lang: 'en-GB', localService: true }]")
        self.choose(page, "speech")
        kick(page, 3)
        assert page.evaluate("window.spoken") == ["minus 3", "minus 2", "minus 1", "1", "2"]

    @pytest.mark.parametrize(
        "voices", ["[]", "[{lang: 'en-GB', localService: false}]", "[{lang: 'de-DE', localService: true}]"]
    )
    @pytest.mark.long
    def test_a_phone_without_a_voice_of_its_own_has_tones(self, page: Page, voices: str) -> None:
        page.evaluate(f"window.voices = {voices}")
        self.choose(page, "speech")
        expect(part(page, "sound-words")).to_contain_text("no voice that works without a network")
        kick(page, 3)
        assert page.evaluate("window.spoken") == []

    @pytest.mark.long
    def test_a_phone_that_cannot_vibrate_is_not_asked_to(self, page: Page, draft: Draft) -> None:
        page.add_init_script("Object.defineProperty(navigator, 'vibrate', { value: undefined });")
        page.goto(address_of(draft))
        part(page, "open").click()
        page.get_by_text("Sound and vibration").click()
        expect(page.get_by_text("Vibrate at each second")).to_be_hidden()


class TestScreen:
    def held(self, page: Page) -> list[bool]:
        found: list[bool] = page.evaluate("window.locks.map((each) => !each.released)")
        return found

    def test_it_keeps_the_screen_on_and_asks_again_when_the_page_comes_back(self, page: Page) -> None:
        expect(part(page, "awake")).to_have_text("The screen stays on while this is open.")
        page.evaluate("window.locks[0].release()")
        expect(part(page, "awake")).to_contain_text("The screen may go dark.")
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        expect(part(page, "awake")).to_have_text("The screen stays on while this is open.")
        assert self.held(page) == [False, True]

    @pytest.mark.long
    def test_it_lets_the_screen_go_when_it_is_closed(self, page: Page) -> None:
        part(page, "close").click()
        assert self.held(page) == [False]
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        assert self.held(page) == [False]

    @pytest.mark.long
    def test_it_says_when_the_screen_cannot_be_kept_on(self, page: Page, draft: Draft) -> None:
        page.add_init_script("navigator.wakeLock.request = async () => { throw new Error('low battery'); };")
        page.goto(address_of(draft))
        part(page, "open").click()
        expect(part(page, "awake")).to_contain_text("The screen may go dark.")


class TestPractising:
    @pytest.fixture
    def practice(self, page_for: PageFor) -> Iterator[Page]:
        opened = page_for(width=PHONE)
        opened.clock.install()
        opened.goto(reverse("bank_timer"))
        stop_clock(opened)
        sent: list[str] = []
        opened.on("request", lambda request: sent.append(request.method))
        yield opened
        assert set(sent) <= {"GET"}

    @pytest.mark.long
    def test_anybody_may_practise_and_nothing_is_kept(self, practice: Page) -> None:
        practice.get_by_label("Seconds of each kick").fill("2")
        part(practice, "open").click()
        expect(part(practice, "flow-choice")).to_be_hidden()
        kick(practice, 2)
        part(practice, "close").click()
        expect(practice.locator("[data-spot='1']")).to_contain_text("Timed by the phone: 2.0 s.")
        practice.reload()
        expect(practice.get_by_text(re.compile("Timed by the phone"))).to_be_hidden()
        assert practice.evaluate("Object.keys(localStorage).filter((key) => key !== 'rifflebook.timer')") == []


def test_the_form_of_the_bank_keeps_each_kick_on_the_phone(cast: Cast, page_for: PageFor) -> None:
    """Without a network, and through a page that is closed in the middle of the next kick; in real time."""
    cast.site.seconds_per_kick = 1
    cast.site.save()
    place = {"slug": cast.group.slug, "site_id": cast.site.pk}
    page = page_for(cast.volunteer, width=PHONE)
    page.goto(f"{reverse('bank_visit', kwargs=place)}#{uuid4()}")
    part(page, "open").click()
    press_start(page)
    await_true(lambda: len(lengths(page)) == 1, "the kick never ended")
    # However busy the machine, this one is not over before the page is closed.
    page.locator("[data-kick-timer]").evaluate("each => { each.dataset.seconds = '120'; }")
    press_start(page)
    await_true(lambda: len(log_of(page)) == 2, "the next kick never began")
    page.reload()
    expect(part(page, "lost")).to_contain_text("A kick at spot 1 was running when the page was closed.")
    assert lengths(page) == pytest.approx([1], abs=0.05)
    assert value(page, 1, "kicks") == "1"
