"""The kick timer in a real browser: what it does with each press, and what stands in the form afterwards."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from surveys.models import Draft, TimedKick
from tests.browser.checks import PageFor
from tests.browser.kicking import (
    COUNTDOWN,
    PHONE,
    address_of,
    fields,
    hold_to_stop,
    kick,
    lengths,
    log_of,
    part,
    planned_draft,
    press_down,
    press_start,
    stored,
    timer_in_form,
)
from tests.conftest import Cast
from tests.factories import days_ago
from tests.processes import await_true

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def draft(cast: Cast) -> Draft:
    return planned_draft(cast)


@pytest.fixture
def page(cast: Cast, draft: Draft, page_for: PageFor) -> Page:
    return timer_in_form(page_for(cast.volunteer, width=PHONE), draft)


class TestKicking:
    def test_it_fills_in_a_whole_visit_and_sends_it(self, page: Page, cast: Cast, draft: Draft) -> None:
        part(page, "flow").select_option("riffle")
        for number in (1, 2):
            expect(part(page, "where")).to_have_text(f"Spot 1, kick {number} of 2")
            kick(page, 3)
        expect(part(page, "where")).to_have_text("Spot 2, kick 1 of 2")
        expect(page.get_by_text("Go upstream to bed that nobody has trodden on")).to_be_visible()
        part(page, "flow").select_option("run")
        kick(page, 3)
        expect(page.get_by_text("Go upstream to bed that nobody has trodden on")).to_be_hidden()
        kick(page, 3)
        expect(part(page, "where")).to_have_text("All planned kicks")
        expect(part(page, "total")).to_have_text("12 s of 12 s timed so far.")
        page.get_by_role("button", name="Back to the form").click()
        expect(page.locator("#effort-total")).to_have_text("12")
        expect(page.locator("[data-spot='2']")).to_contain_text("Timed by the phone: 3.0, 3.0 s.")
        self.send(page)
        timed = TimedKick.objects.of_group(cast.group).filter(spot__visit=draft.pk)
        timed = timed.order_by("spot__number", "number")
        assert [(each.spot.number, each.spot.flow_type, each.number, each.seconds) for each in timed] == [
            (spot, flow, number, Decimal(3)) for spot, flow in ((1, "riffle"), (2, "run")) for number in (1, 2)
        ]

    def send(self, page: Page) -> None:
        page.clock.resume()
        page.get_by_label("Date of the visit").fill(days_ago(0).isoformat())
        page.get_by_label("Or the partner's name").fill("Sam Example")
        page.locator("[name=counts-Baetidae-count]").fill("12")
        page.get_by_role("button", name="Submit the visit").click()
        expect(page.get_by_text("timed by the phone: 3.0, 3.0 s").first).to_be_visible()

    def test_it_counts_from_minus_three_to_the_end_by_number_and_vibration(self, page: Page) -> None:
        press_start(page)
        page.clock.run_for(500)
        for text, phase in (("−3", "ready"), ("−2", "ready"), ("−1", "ready"), ("0", "kick"), ("1", "kick")):
            expect(part(page, "number")).to_have_text(text)
            expect(part(page, "dialog")).to_have_attribute("data-phase", phase)
            page.clock.run_for(1000)
        page.clock.run_for(1300)
        expect(part(page, "dialog")).to_have_attribute("data-phase", "wait")
        shakes: Any = page.evaluate("window.shakes.map((each) => each[0])")
        assert shakes == [60, 60, 60, 350, 60, 60, 350]

    @pytest.mark.long
    def test_it_reminds_of_the_net_after_each_kick(self, page: Page) -> None:
        expect(page.get_by_text("Empty the net into the bucket.")).to_be_hidden()
        kick(page, 3)
        expect(page.get_by_text("Empty the net into the bucket.")).to_be_visible()
        expect(part(page, "result")).to_have_text("Kick done: 3.0 s.")

    @pytest.mark.long
    def test_it_leaves_a_kick_out(self, page: Page) -> None:
        kick(page, 3)
        page.get_by_role("button", name="Leave this kick out").click()
        expect(part(page, "where")).to_have_text("Spot 2, kick 1 of 2")
        assert fields(page, 1) == ("1", "3")

    @pytest.mark.long
    def test_a_spot_left_out_wholly_has_no_kicks(self, page: Page) -> None:
        assert fields(page, 1) == ("2", "")
        for _each in range(2):
            page.get_by_role("button", name="Leave this kick out").click()
        assert fields(page, 1) == ("", "")
        expect(part(page, "where")).to_have_text("Spot 2, kick 1 of 2")

    @pytest.mark.long
    def test_a_repeated_kick_takes_the_place_of_the_last_one(self, page: Page) -> None:
        kick(page, 3)
        press_start(page)
        page.clock.run_for(COUNTDOWN + 1500)
        hold_to_stop(page)
        assert lengths(page)[1] < 2
        part(page, "spot").select_option("1")
        page.get_by_role("button", name="Repeat the last kick").click()
        expect(page.get_by_text("Shake the net out into the river first.")).to_be_visible()
        expect(part(page, "where")).to_have_text("Spot 1, kick 2 of 2")
        kick(page, 3)
        assert lengths(page) == pytest.approx([3, 3], abs=0.05)
        assert fields(page, 1) == ("2", "6")

    @pytest.mark.long
    def test_one_may_go_back_to_another_spot(self, page: Page) -> None:
        part(page, "spot").select_option("2")
        kick(page, 3)
        expect(part(page, "where")).to_have_text("Spot 2, kick 2 of 2")
        assert fields(page, 2) == ("1", "3")
        assert fields(page, 1) == ("2", "")

    @pytest.mark.long
    def test_it_offers_a_kick_more_than_planned(self, page: Page) -> None:
        for _each in range(4):
            page.get_by_role("button", name="Leave this kick out").click()
        page.get_by_role("button", name="One kick more").click()
        page.locator("[data-timer-dialog][data-phase=ready]").wait_for()
        page.clock.run_for(COUNTDOWN + 3200)
        assert fields(page, 2) == ("1", "3")


class TestStopping:
    @pytest.fixture(autouse=True)
    def _kicking(self, page: Page) -> None:
        press_start(page)
        page.clock.run_for(COUNTDOWN + 1200)

    def test_a_hold_of_half_a_second_cuts_the_kick_short(self, page: Page) -> None:
        hold_to_stop(page)
        expect(part(page, "result")).to_have_text("Kick cut short after 1.2 s.")
        assert lengths(page) == pytest.approx([1.2], abs=0.05)

    def test_a_drop_of_water_stops_nothing(self, page: Page) -> None:
        for _drop in range(3):
            press_down(page)
            page.clock.run_for(250)
            page.mouse.up()
        expect(part(page, "dialog")).to_have_attribute("data-phase", "kick")
        page.clock.run_for(1500)
        assert lengths(page) == pytest.approx([3], abs=0.05)

    @pytest.mark.long
    def test_a_thumb_that_slides_off_still_holds(self, page: Page) -> None:
        press_down(page)
        page.clock.run_for(200)
        page.mouse.move(180, 100)
        page.clock.run_for(400)
        page.mouse.up()
        assert lengths(page) == pytest.approx([1.2], abs=0.05)

    @pytest.mark.long
    def test_a_second_finger_holds_while_a_drop_comes_and_goes(self, page: Page) -> None:
        touch = """([kind, id]) => {
          const button = document.querySelector("[data-timer-stop]");
          button.setPointerCapture = () => undefined;
          button.dispatchEvent(new PointerEvent(kind, { pointerId: id, isPrimary: id === 1, button: 0 }));
        }"""
        page.evaluate(touch, ["pointerdown", 1])
        page.evaluate(touch, ["pointerdown", 2])
        page.clock.run_for(200)
        page.evaluate(touch, ["pointerup", 1])
        page.clock.run_for(400)
        expect(part(page, "dialog")).to_have_attribute("data-phase", "wait")

    @pytest.mark.long
    def test_a_key_stops_at_once(self, page: Page) -> None:
        expect(part(page, "stop")).to_be_focused()
        page.keyboard.press("Enter")
        assert lengths(page) == pytest.approx([1.2], abs=0.05)
        expect(part(page, "start")).to_be_focused()

    @pytest.mark.long
    def test_the_back_key_stops_the_kick_and_stays(self, page: Page) -> None:
        page.keyboard.press("Escape")
        assert lengths(page) == pytest.approx([1.2], abs=0.05)
        expect(part(page, "dialog")).to_be_visible()

    @pytest.mark.long
    def test_closing_it_all_keeps_what_was_done(self, page: Page) -> None:
        part(page, "dialog").evaluate("each => each.close()")
        expect(page.locator("[data-spot='1']")).to_contain_text("Timed by the phone: 1.2 (cut short) s.")
        assert lengths(page) == pytest.approx([1.2], abs=0.05)


@pytest.mark.long
def test_stopping_before_the_kick_notes_nothing(page: Page, draft: Draft) -> None:
    press_start(page)
    page.clock.run_for(1500)
    hold_to_stop(page)
    expect(part(page, "result")).to_have_text("Stopped before the kick began. Nothing is noted.")
    assert log_of(page) == []
    assert fields(page, 1) == ("2", "")


class TestInterruptions:
    def test_a_reload_keeps_what_was_done_and_says_what_is_lost(self, page: Page, draft: Draft) -> None:
        kick(page, 3)
        press_start(page)
        page.clock.run_for(COUNTDOWN + 1500)
        assert [bool(each["seconds"]) for each in log_of(page)] == [True, False]
        page.goto(address_of(draft))
        page.get_by_role("button", name="Put it back").click()
        expect(part(page, "lost")).to_contain_text("A kick at spot 1 was running when the page was closed.")
        assert fields(page, 1) == ("1", "3")
        part(page, "open").click()
        expect(part(page, "where")).to_have_text("Spot 1, kick 2 of 2")
        kick(page, 3)
        assert lengths(page) == pytest.approx([3, 3], abs=0.05)
        part(page, "close").click()
        expect(part(page, "lost")).to_be_hidden()

    @pytest.mark.long
    def test_the_portal_keeps_each_kick_with_the_draft(self, page: Page, draft: Draft) -> None:
        page.unroute("**/save/")
        kick(page, 3)
        page.clock.run_for(4000)
        await_true(lambda: '"3.0' in str(stored(draft).get(1)), "never saved")
        page.goto(address_of(draft))
        assert lengths(page) == pytest.approx([3], abs=0.05)
        expect(page.locator("[data-spot='1']")).to_contain_text("Timed by the phone: 3.0 s.")

    @pytest.mark.long
    def test_a_phone_that_slept_says_that_the_time_is_not_known(self, page: Page) -> None:
        press_start(page)
        page.clock.run_for(COUNTDOWN + 500)
        # Asleep, the time of day goes on and the page's own clock stands still.
        page.evaluate("() => { const now = Date.now; Date.now = () => now() + 60000; }")
        page.clock.run_for(3000)
        expect(part(page, "result")).to_contain_text("its time is not known")
        assert log_of(page) == []
        expect(part(page, "where")).to_have_text("Spot 1, kick 1 of 2")

    @pytest.mark.long
    def test_it_redraws_from_the_fields_when_they_are_put_back(self, page: Page) -> None:
        log = '[{"started_at": "2026-06-14T10:00:00.000Z", "seconds": "2.900"}]'
        page.evaluate(
            """(log) => {
              const field = document.querySelector("[name=spots-1-timed]");
              field.value = log;
              field.form.dispatchEvent(new Event("restored"));
            }""",
            log,
        )
        expect(page.locator("[data-spot='1'] [data-spot-words]")).to_have_text("Timed by the phone: 2.9 s.")
        expect(part(page, "where")).to_have_text("Spot 1, kick 2 of 2")

    @pytest.mark.long
    def test_a_log_that_cannot_be_read_is_in_nobodys_way(self, page: Page) -> None:
        page.evaluate("document.querySelector('[name=spots-1-timed]').value = '[{'")
        kick(page, 3)
        assert lengths(page) == pytest.approx([3], abs=0.05)


class TestByHand:
    @pytest.mark.long
    def test_what_was_typed_counts_as_done_and_is_replaced_only_after_a_word(self, page: Page) -> None:
        part(page, "close").click()
        page.locator("[name=spots-1-seconds]").fill("6")
        part(page, "open").click()
        expect(part(page, "where")).to_have_text("Spot 2, kick 1 of 2")
        part(page, "spot").select_option("1")
        expect(part(page, "typed")).to_have_text("A time typed by hand stands at spot 1. Timing replaces it.")
        kick(page, 3)
        assert fields(page, 1) == ("1", "3")

    @pytest.mark.long
    def test_the_timing_of_a_spot_can_be_forgotten_and_the_numbers_stay(self, page: Page) -> None:
        kick(page, 3)
        part(page, "close").click()
        page.get_by_role("button", name="Forget the timing of spot 1").click()
        assert log_of(page) == []
        assert fields(page, 1) == ("1", "3")
        expect(page.locator("[data-spot='1'] [data-spot-timed]")).to_be_hidden()
