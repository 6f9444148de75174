"""Steps of the kick timer's tests: open it, kick on a clock that runs fast, read the fields it writes."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

from django.urls import reverse
from playwright.sync_api import Locator, Page

from surveys.models import Draft
from surveys.services.drafts import start_visit
from tests.conftest import Cast

PHONE = 360
# What a phone has and this browser lacks or hides: each is asked for what was asked of it.
PHONE_PARTS = """
window.shakes = [];
window.spoken = [];
window.locks = [];
navigator.vibrate = (pattern) => window.shakes.push(pattern);
const lock = () => Object.assign(new EventTarget(), {
  released: false,
  release() { this.released = true; this.dispatchEvent(new Event("release")); },
});
Object.defineProperty(navigator, "wakeLock", { value: { request: async () => {
  window.locks.push(lock());
  return window.locks.at(-1);
} } });
Object.defineProperty(window, "speechSynthesis", { value: Object.assign(new EventTarget(), {
  getVoices: () => window.voices ?? [],
  cancel() {},
  speak: (spoken) => window.spoken.push(spoken.text),
}) });
window.SpeechSynthesisUtterance = function (text) { this.text = text; };
// No script moves the clock of the sound: unless a test asks for it, there is none.
localStorage["rifflebook.timer"] ??= '{"sound": "off", "shake": true}';
"""
# From the press to the start, ms: a moment to make ready, and three seconds.
COUNTDOWN = 3400
HELD = 700


def stop_clock(page: Page) -> None:
    """From here on the installed clock stands still unless it is moved."""
    page.clock.pause_at(datetime.now(UTC) + timedelta(seconds=5))


def part(page: Page, name: str) -> Locator:
    """A part of the timer."""
    return page.locator(f"[data-timer-{name}]").first


def press_start(page: Page) -> None:
    """Start, and wait until the signs are planned: sound answers in its own time."""
    part(page, "start").click()
    page.locator("[data-timer-dialog][data-phase=ready]").wait_for()


def kick(page: Page, seconds: float) -> None:
    """One whole kick, on a clock that `page.clock` moves."""
    press_start(page)
    page.clock.run_for(COUNTDOWN + int(seconds * 1000) + 200)


def hold_to_stop(page: Page) -> None:
    """Hold the button down as long as it must be, on the moved clock."""
    press_down(page)
    page.clock.run_for(HELD)
    page.mouse.up()


def press_down(page: Page) -> None:
    """Put a finger on the stop button and leave it there."""
    box: Any = part(page, "stop").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()


def value(page: Page, spot: int, name: str) -> str:
    """What stands in a field of a spot."""
    return page.locator(f"[name=spots-{spot}-{name}]").input_value()


def log_of(page: Page, spot: int = 1) -> list[dict[str, str]]:
    """The timed kicks of a spot."""
    found: list[dict[str, str]] = json.loads(value(page, spot, "timed") or "[]")
    return found


def lengths(page: Page, spot: int = 1) -> list[float]:
    """The lengths of the kicks of a spot that are over, s."""
    return [float(each["seconds"]) for each in log_of(page, spot) if each["seconds"]]


def stored(draft: Draft) -> dict[int, Any]:
    """The spots of a draft as the portal has them, by number."""
    data = Draft.objects.of_group(draft.group).get(pk=draft.pk).data
    return {spot["number"]: spot for spot in data.get("spots", ())}


def fields(page: Page, spot: int) -> tuple[str, str]:
    """Kicks and seconds that stand in the form."""
    return value(page, spot, "kicks"), value(page, spot, "seconds")


def planned_draft(cast: Cast) -> Draft:
    """A new visit to a site of two spots with two kicks of 3 s each."""
    cast.site.spots, cast.site.kicks_per_spot, cast.site.seconds_per_kick = 2, 2, 3
    cast.site.save()
    return start_visit(person=cast.person("volunteer"), site=cast.site)


def address_of(draft: Draft) -> str:
    """The address of its form."""
    return reverse("visit_submit", kwargs={"slug": draft.group.slug, "draft_id": draft.pk})


def timer_in_form(page: Page, draft: Draft) -> Page:
    """The form of the draft on a phone whose clock stands still, with the timer open."""
    page.add_init_script(PHONE_PARTS)
    # A clock that runs fast saves often; a save that outlives its test would meet the emptying of the tables.
    page.route("**/save/", lambda route: route.abort())
    page.clock.install()
    page.goto(address_of(draft))
    stop_clock(page)
    part(page, "open").click()
    return page
