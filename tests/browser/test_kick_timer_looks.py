"""The kick timer as it is seen and reached: bright sun, small screens, large text, keyboard, axe."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from tests.browser.checks import PageFor, assert_accessible
from tests.browser.kicking import COUNTDOWN, hold_to_stop, kick, part, press_down, press_start, stop_clock
from tests.portal.test_design_tokens import contrast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PHASES = ("wait", "ready", "kick", "held", "cut", "again", "done")

# Each text in sight with its colour and the nearest ground behind it that is not see-through.
COLOURS = """
() => {
  const groundOf = (element) => {
    for (let each = element; each; each = each.parentElement) {
      const ground = getComputedStyle(each).backgroundColor;
      if (!/^rgba.*, 0\\)$/.test(ground)) return ground;
    }
    return "rgb(255, 255, 255)";
  };
  const dialog = document.querySelector("[data-timer-dialog]");
  const walker = document.createTreeWalker(dialog, NodeFilter.SHOW_TEXT);
  const found = [];
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || !element.checkVisibility()) continue;
    found.push([walker.currentNode.data.trim(), getComputedStyle(element).color, groundOf(element)]);
  }
  return found;
}
"""
PARTS_OUT_OF_SIGHT = """
(names) => names.filter((name) => {
  const box = document.querySelector(`[data-timer-${name}]`).getBoundingClientRect();
  return box.top < 0 || box.left < 0 || box.bottom > innerHeight || box.right > innerWidth || !box.height;
})
"""


def opened(page_for: PageFor, width: int = 320, height: int = 640, **options: Any) -> Page:
    page = page_for(width=width, **options)
    page.set_viewport_size({"width": width, "height": height})
    page.add_init_script("window.realTimer = window.setTimeout;")
    page.clock.install()
    page.goto(reverse("bank_timer"))
    stop_clock(page)
    page.locator("[data-plan-kicks]").fill("1")
    part(page, "open").click()
    part(page, "sound").evaluate("each => { each.value = 'off'; }")
    page.locator(".timer-settings").evaluate("each => { each.open = true; }")
    return page


def bring(page: Page, phase: str) -> None:
    """Bring the timer, one phase after the other, to what it shows in that one."""
    if phase == "ready":
        press_start(page)
        page.clock.run_for(600)
    elif phase == "kick":
        page.clock.run_for(COUNTDOWN)
    elif phase == "held":
        press_down(page)
        page.clock.run_for(300)
    elif phase == "cut":
        page.clock.run_for(300)
        page.mouse.up()
    elif phase == "again":
        part(page, "spot").select_option("1")
        part(page, "again").click()
    elif phase == "done":
        page.locator("[data-timer-close]").first.click()
        part(page, "open").click()
        for _each in range(2):
            part(page, "skip").click()


def as_hex(colour: str) -> str:
    red, green, blue = (int(part) for part in colour[4:-1].split(","))
    return f"#{red:02x}{green:02x}{blue:02x}"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_reads_at_seven_to_one_in_every_phase(page_for: PageFor, scheme: str) -> None:
    page = opened(page_for, color_scheme=scheme)
    for phase in PHASES:
        bring(page, phase)
        found = page.evaluate(COLOURS)
        assert len(found) >= 3, phase
        for words, front, ground in found:
            assert contrast(as_hex(front), as_hex(ground)) >= 7, (phase, words, front, ground)


@pytest.mark.long
def test_it_would_notice_a_pale_word(page_for: PageFor) -> None:
    page = opened(page_for)
    part(page, "total").evaluate("each => { each.style.color = '#767676'; }")
    worst = min(contrast(as_hex(front), as_hex(ground)) for _words, front, ground in page.evaluate(COLOURS))
    assert worst == pytest.approx(4.54, abs=0.01)


def test_axe_finds_nothing_in_any_phase(page_for: PageFor) -> None:
    page = opened(page_for)
    for phase in PHASES:
        bring(page, phase)
        # The one who looks needs time, which stands still for the page itself.
        page.evaluate("() => { window.fakeTimer = setTimeout; window.setTimeout = window.realTimer; }")
        assert_accessible(page)
        page.evaluate("() => { window.setTimeout = window.fakeTimer; }")


@pytest.mark.parametrize(("width", "height"), [(320, 568), (360, 740), (640, 320)])
@pytest.mark.parametrize("text", ["100%", "200%"])
@pytest.mark.long
def test_it_fits_small_screens_and_large_text(page_for: PageFor, width: int, height: int, text: str) -> None:
    page = opened(page_for, width, height)
    page.evaluate("(text) => { document.documentElement.style.fontSize = text; }", text)
    for phase in PHASES:
        bring(page, phase)
        sizes = part(page, "dialog").evaluate("each => [each.scrollWidth, each.clientWidth]")
        assert sizes[0] <= sizes[1], phase
        if phase in ("ready", "kick", "held"):
            assert page.evaluate(PARTS_OUT_OF_SIGHT, ["stop", "number", "phase"]) == [], phase
        # All else scrolls; the button to press next is there to be scrolled to, and large.
        elif phase != "done":
            part(page, "start").scroll_into_view_if_needed()
            assert page.evaluate(PARTS_OUT_OF_SIGHT, ["start"]) == [], phase


@pytest.mark.parametrize(("width", "least"), [(320, 180), (360, 200)])
@pytest.mark.long
def test_its_number_is_as_large_as_the_screen_allows(page_for: PageFor, width: int, least: int) -> None:
    page = opened(page_for, width)
    press_start(page)
    # Minus three, the first seconds, and the last one, which has two digits.
    for moment in (600, COUNTDOWN, 9400 - 600):
        page.clock.run_for(moment)
        size, needed, room = part(page, "number").evaluate(
            """(each) => {
              const range = document.createRange();
              range.selectNodeContents(each);
              const { width } = range.getBoundingClientRect();
              return [parseFloat(getComputedStyle(each).fontSize), width, innerWidth];
            }"""
        )
        assert size >= least
        assert needed <= room


@pytest.mark.long
def test_long_kicks_have_room_for_three_digits(page_for: PageFor) -> None:
    page = opened(page_for)
    page.keyboard.press("Escape")
    page.locator("[data-plan-seconds]").fill("180")
    part(page, "open").click()
    press_start(page)
    page.clock.run_for(COUNTDOWN + 100_500)
    expect(part(page, "number")).to_have_text("100")
    box: Any = part(page, "number").bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= 320
    hold_to_stop(page)


@pytest.mark.long
def test_its_targets_are_large_enough_for_a_wet_thumb(page_for: PageFor) -> None:
    page = opened(page_for)
    start: Any = part(page, "start").bounding_box()
    assert start["width"] >= 280
    assert start["height"] >= 96
    press_start(page)
    stop: Any = part(page, "stop").bounding_box()
    assert stop["width"] >= 280
    assert stop["height"] >= 128
    # Nothing else can be hit while the water drips.
    assert page.locator("[data-timer-dialog] :is(button, select, input, summary):visible").count() == 1


@pytest.mark.long
def test_it_is_worked_by_keyboard_alone(page_for: PageFor) -> None:
    page = opened(page_for)
    page.keyboard.press("Escape")
    expect(part(page, "dialog")).to_be_hidden()
    part(page, "open").focus()
    page.keyboard.press("Enter")
    expect(part(page, "start")).to_be_focused()
    page.keyboard.press("Space")
    page.locator("[data-timer-dialog][data-phase=ready]").wait_for()
    expect(part(page, "stop")).to_be_focused()
    page.clock.run_for(COUNTDOWN + 1500)
    page.keyboard.press("Space")
    expect(part(page, "result")).to_contain_text("Kick cut short after 1.5")
    page.keyboard.press("Escape")
    expect(part(page, "open")).to_be_focused()


@pytest.mark.long
def test_what_it_timed_stands_in_the_form_at_every_width(page_for: PageFor) -> None:
    page = opened(page_for)
    kick(page, 10)
    part(page, "close").click()
    page.clock.resume()
    expect(page.get_by_text("Timed by the phone: 10.0 s.")).to_be_visible()
    assert_accessible(page)
