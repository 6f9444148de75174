"""What a phone keeps of the portal: pages and files that open without a network, for one person at a time."""

from __future__ import annotations

import gzip
import threading
import time
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from portal.accounts.models import User
from surveys.models import Site
from surveys.offline import release as releases
from surveys.offline.bank import BankSite, kept_sites
from surveys.offline.release import release, static_addresses
from surveys.views import bank, bank_app
from surveys.views.shared import find_site
from tests.browser.checks import PageFor, assert_accessible, session_key_for
from tests.conftest import Cast
from tests.factories import SiteFactory
from tests.processes import PATIENCE, await_true

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 360
# Script, style and font of a first load, in bytes: as sent, which is packed, and as read.
SENT, READ = 150_000, 220_000
VISITS_KEPT = """() => new Promise((done) => {
  const asked = indexedDB.open("rifflebook-bank");
  asked.onsuccess = () => {
    const visits = asked.result.transaction("visits").objectStore("visits");
    visits.count().onsuccess = (event) => done(event.target.result);
  };
})"""

ASK_WORKER = """async () => {
  const person = document.querySelector("meta[name=person]").content;
  (await navigator.serviceWorker.getRegistration("/bank/")).active.postMessage({ type: "refresh", person });
}"""


def phone_of(page_for: PageFor, user: Any) -> Page:
    return page_for(user, width=PHONE, service_workers="allow")


def make_ready(page: Page) -> None:
    """Open the bank pages where there is a network, and wait until all is kept."""
    page.goto("/bank/")
    expect(page.locator("[data-ready=kept]")).to_be_visible()


def sign_in(page: Page, user: User) -> None:
    """As if that person had signed in on this phone in the place of whoever was."""
    (cookie,) = [each for each in page.context.cookies() if each["name"] == "sessionid"]
    new: Any = {**cookie, "value": session_key_for(user)}
    page.context.add_cookies([new])


def site_page(site: Site, name: str = "bank_site") -> str:
    return reverse(name, args=[site.group.slug, site.pk])


def kept(page: Page) -> list[str]:
    """The addresses of the pages that the phone keeps."""
    return page.evaluate(  # type: ignore[no-any-return]
        """async () => {
          const names = (await caches.keys()).filter((name) => name.startsWith("rifflebook-pages-"));
          const found = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
          return found.flat().map((request) => new URL(request.url).pathname).sort();
        }"""
    )


def wait_until_kept(page: Page, address: str) -> None:
    await_true(lambda: address in kept(page), f"{address} is not kept")


def files_kept(page: Page) -> set[str]:
    """The names under which the phone keeps files, one a release."""
    names: list[str] = page.evaluate("caches.keys()")
    return {name for name in names if name.startswith("rifflebook-files-")}


def keeps_only_files_of(page: Page, names: set[str]) -> bool:
    """Whether the phone keeps the files of these releases and no others; if not, ask its worker once more.

    A new worker waits until the old one rests; a browser that misses that moment sees it after the next
    message. No page is opened for it: under a debugger, as here, a browser ends an old worker with the page in
    its hands.
    """
    found = files_kept(page) == names
    if not found:
        page.evaluate(ASK_WORKER)
        page.wait_for_timeout(250)
    return found


def age(page: Page) -> None:
    """As if the last refresh were long ago."""
    page.evaluate(
        """async () => {
          const name = (await caches.keys()).find((name) => name.startsWith("rifflebook-pages-"));
          const old = JSON.stringify({ kept: "", state: "kept", at: 0 });
          await (await caches.open(name)).put("/bank/ready.json", new Response(old));
        }"""
    )


def test_all_that_is_needed_at_the_water_opens_without_a_network(cast: Cast, page_for: PageFor) -> None:
    Site.objects.of_group(cast.group).filter(pk=cast.site.pk).update(
        hazards="Deep pool.", access_notes="Chapel."
    )
    page = phone_of(page_for, cast.volunteer)
    make_ready(page)
    page.context.set_offline(True)
    missing: list[str] = []
    page.on("requestfailed", lambda request: missing.append(request.url))
    for address in [
        "/bank/",
        site_page(cast.site),
        site_page(cast.site, "bank_visit"),
        "/bank/key/",
        "/bank/timer/",
    ]:
        page.goto(address)
        expect(page.locator("h1")).not_to_contain_text("No network")
        # Styles came too: the bar across the top has its own colour.
        assert (
            page.locator(".top-bar").evaluate("each => getComputedStyle(each).backgroundColor")
            != "rgba(0, 0, 0, 0)"
        )
    page.goto(site_page(cast.site))
    expect(page.get_by_text("Deep pool.")).to_be_visible()
    expect(page.get_by_text("Chapel.")).to_be_visible()
    assert missing == []


@pytest.mark.long
def test_any_page_of_the_portal_makes_the_phone_ready(cast: Cast, page_for: PageFor) -> None:
    page = phone_of(page_for, cast.volunteer)
    page.goto(reverse("group_desk", args=[cast.group.slug]))
    wait_until_kept(page, site_page(cast.site, "bank_visit"))
    page.context.set_offline(True)
    page.goto(site_page(cast.site))
    expect(page.get_by_role("link", name="Start a visit")).to_be_visible()


def test_signing_out_drops_the_pages_and_keeps_what_was_typed(cast: Cast, page_for: PageFor) -> None:
    page = phone_of(page_for, cast.volunteer)
    make_ready(page)
    page.goto(site_page(cast.site, "bank_visit"))
    page.get_by_label("Notes", exact=True).fill("Half a tray")
    expect(page.locator("[data-kept-words]")).not_to_be_empty()
    page.get_by_role("button", name="Your account").click()
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("/")
    await_true(lambda: kept(page) == [], "pages are still kept")
    page.context.set_offline(True)
    page.goto("/bank/")
    expect(page.locator("h1")).to_contain_text("No network")
    assert_accessible(page)
    assert page.evaluate(VISITS_KEPT) == 1


def test_another_person_finds_nothing_of_the_former_one(cast: Cast, page_for: PageFor) -> None:
    page = phone_of(page_for, cast.volunteer)
    make_ready(page)
    sign_in(page, cast.neighbour_volunteer)
    page.goto(reverse("group_desk", args=[cast.neighbour.slug]))
    wait_until_kept(page, site_page(cast.neighbour_site, "bank_visit"))
    assert not [address for address in kept(page) if cast.group.slug in address]
    page.context.set_offline(True)
    page.goto(site_page(cast.site))
    expect(page.locator("h1")).to_contain_text("No network")
    page.goto(site_page(cast.neighbour_site))
    expect(page.locator("h1")).to_contain_text("Withy ford")


def test_a_changed_site_is_fetched_again_and_a_closed_one_goes(cast: Cast, page_for: PageFor) -> None:
    from surveys.services.sites import save_site

    other = SiteFactory(group=cast.group, code="AB2", name="Mill race")
    page = phone_of(page_for, cast.volunteer)
    make_ready(page)
    coordinator = cast.person("coordinator")
    save_site(person=coordinator, group=cast.group, site=cast.site, fields={"hazards": "A fallen tree."})
    save_site(person=coordinator, group=cast.group, site=other, fields={"closed_on": "2024-01-01"})
    age(page)
    page.goto("/bank/")
    await_true(lambda: site_page(other) not in kept(page), "the closed site is still kept")
    page.context.set_offline(True)
    page.goto(site_page(cast.site))
    expect(page.get_by_text("A fallen tree.")).to_be_visible()


@pytest.mark.long
def test_what_was_seen_last_with_a_network_is_seen_without(cast: Cast, page_for: PageFor) -> None:
    page = phone_of(page_for, cast.volunteer)
    make_ready(page)
    Site.objects.of_group(cast.group).filter(pk=cast.site.pk).update(hazards="New fence.")
    page.goto(site_page(cast.site))
    expect(page.get_by_text("New fence.")).to_be_visible()
    page.wait_for_timeout(300)
    page.context.set_offline(True)
    page.goto(site_page(cast.site))
    expect(page.get_by_text("New fence.")).to_be_visible()


@pytest.mark.long
def test_a_network_that_hardly_moves_is_not_waited_for(
    cast: Cast, page_for: PageFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = phone_of(page_for, cast.volunteer)
    make_ready(page)

    def slowly(*arguments: Any) -> Site:
        time.sleep(8)
        return find_site(*arguments)

    monkeypatch.setattr(bank, "find_site", slowly)
    begun = time.monotonic()
    page.goto(site_page(cast.site))
    expect(page.locator("h1")).to_contain_text("Stepping stones")
    assert time.monotonic() - begun < 7


def test_pages_open_while_the_worker_waits_for_the_network(
    cast: Cast, page_for: PageFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = threading.Event()

    def held(*arguments: Any) -> list[BankSite]:
        answers.wait(PATIENCE)
        return kept_sites(*arguments)

    monkeypatch.setattr(bank_app, "kept_sites", held)
    page = phone_of(page_for, cast.volunteer)
    try:
        page.goto("/bank/")
        await_true(lambda: page.evaluate("navigator.serviceWorker.controller !== null"), "no worker")
        page.goto(site_page(cast.site))
        expect(page.locator("h1")).to_contain_text("Stepping stones")
    finally:
        answers.set()
    wait_until_kept(page, site_page(cast.site, "bank_visit"))


@pytest.mark.long
def test_a_session_that_ran_out_leaves_the_pages_of_use(cast: Cast, page_for: PageFor) -> None:
    page = phone_of(page_for, cast.volunteer)
    make_ready(page)
    page.context.clear_cookies()
    page.goto(site_page(cast.site))
    expect(page.locator("h1")).to_contain_text("Stepping stones")
    page.goto("/account/login/")
    expect(page.locator("h1")).to_contain_text("Sign in")
    page.wait_for_timeout(300)
    assert site_page(cast.site) in kept(page)


def test_a_new_release_takes_the_place_of_the_old_one_whole(
    cast: Cast, page_for: PageFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = phone_of(page_for, cast.volunteer)
    make_ready(page)
    sources = list(releases._sources())[:10]
    monkeypatch.setattr(releases, "_sources", lambda: iter(sources))
    release.cache_clear()
    try:
        age(page)
        page.goto("/bank/")
        own = {f"rifflebook-files-{release()}"}
        await_true(lambda: keeps_only_files_of(page, own), "the old release is still kept")
        page.context.set_offline(True)
        page.goto(site_page(cast.site))
        expect(page.locator("h1")).to_contain_text("Stepping stones")
    finally:
        monkeypatch.undo()
        release.cache_clear()


@pytest.mark.parametrize("name", ["bank_home", "bank_site", "bank_visit"])
def test_a_first_load_is_light_and_own_hosted(cast: Cast, page_for: PageFor, name: str) -> None:
    page = page_for(cast.volunteer, width=PHONE)
    page.goto(reverse(name) if name == "bank_home" else site_page(cast.site, name), wait_until="networkidle")
    loaded = page.evaluate("performance.getEntriesByType('resource').map((each) => each.name)")
    assert all(url.startswith(page.evaluate("location.origin")) for url in loaded)
    texts = [fetched(page, url) for url in loaded if url.endswith((".js", ".css", ".woff2", ".woff"))]
    assert len(texts) > 10
    assert sum(map(packed, texts)) < SENT
    assert sum(map(len, texts)) < READ


@pytest.mark.long
def test_all_that_the_worker_fetches_is_light_as_well(cast: Cast, page_for: PageFor) -> None:
    page = page_for(cast.volunteer, width=PHONE)
    page.goto("/bank/")
    files = [each for each in static_addresses() if each.endswith((".js", ".css", ".woff2", ".woff"))]
    assert sum(packed(fetched(page, each)) for each in files) < SENT


def fetched(page: Page, address: str) -> bytes:
    answer = page.request.get(address)
    assert answer.status == 200, address
    return answer.body()


def packed(text: bytes) -> int:
    """Bytes on the way: static files are collected with a packed twin, which is what a browser is sent."""
    return len(gzip.compress(text))


@pytest.mark.long
def test_the_phone_says_that_a_browser_cannot_keep_pages(cast: Cast, page_for: PageFor) -> None:
    page = phone_of(page_for, cast.volunteer)
    page.add_init_script("navigator.serviceWorker.register = () => Promise.reject(new Error('refused'))")
    page.goto("/bank/")
    expect(page.locator("[data-ready=unable]")).to_be_visible()


@pytest.mark.parametrize("who", ["volunteer", "nobody"])
@pytest.mark.long
def test_large_text_pushes_nothing_off_the_screen(cast: Cast, page_for: PageFor, who: str) -> None:
    page = page_for(cast.volunteer if who == "volunteer" else None, width=320)
    own = ["/bank/", site_page(cast.site), site_page(cast.site, "bank_visit")] if who == "volunteer" else []
    for address in [*own, "/bank/offline/"]:
        page.goto(address)
        page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, address


@pytest.mark.long
def test_the_cautions_are_shown_once_a_day_and_by_keyboard(cast: Cast, page_for: PageFor) -> None:
    page = page_for(cast.volunteer, width=PHONE)
    page.goto(site_page(cast.site))
    page.get_by_role("link", name="Start a visit").press("Enter")
    dialog = page.get_by_role("dialog")
    expect(dialog).to_be_visible()
    assert_accessible(page)
    page.keyboard.press("Escape")
    expect(dialog).to_be_hidden()
    assert page.url.endswith(site_page(cast.site))
    page.get_by_role("link", name="Start a visit").press("Enter")
    dialog.get_by_role("button", name="We have read this").press("Enter")
    page.wait_for_url("**/visit/#*")
    expect(page.get_by_label("Date of the visit")).not_to_have_value("")
    page.goto(site_page(cast.site))
    page.get_by_role("link", name="Start a visit").click()
    page.wait_for_url("**/visit/#*")
