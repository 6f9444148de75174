"""The bank pages: what they show, to whom, and what they tell the phone that keeps them."""

from __future__ import annotations

import gzip
from datetime import timedelta
from typing import Any

import pytest
from django.contrib import messages
from django.contrib.messages.storage.base import Message
from django.contrib.messages.storage.cookie import CookieStorage
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from surveys.models import Site
from surveys.offline import bank as banks
from surveys.offline.release import release
from surveys.scores.columns import columns_of
from tests.conftest import Cast
from tests.factories import MembershipFactory, SiteFactory, days_ago, submit
from tests.surveys.pages import text_of

PAGES = ("bank_home", "bank_site", "bank_visit")


def address(name: str, site: Site) -> str:
    return reverse(name, args=[] if name == "bank_home" else [site.group.slug, site.pk])


@pytest.fixture
def client(cast: Cast) -> Client:
    """The volunteer's browser."""
    signed_in = Client()
    signed_in.force_login(cast.volunteer)
    return signed_in


def change(site: Site, **fields: Any) -> None:
    Site.objects.of_group(site.group).filter(pk=site.pk).update(**fields)


# -- all three


@pytest.mark.parametrize("name", PAGES)
def test_a_page_says_whose_it_is_and_of_which_release(cast: Cast, client: Client, name: str) -> None:
    answer = client.get(address(name, cast.site))
    assert answer["X-Rifflebook-Person"] == str(cast.volunteer.pk)
    assert answer["X-Rifflebook-Release"] == release()
    assert f'<meta name="person" content="{cast.volunteer.pk}"' in answer.content.decode()


@pytest.mark.parametrize("name", PAGES)
def test_nothing_between_portal_and_phone_keeps_a_page(cast: Cast, client: Client, name: str) -> None:
    answer = client.get(address(name, cast.site))
    assert {"no-store", "private"} <= set(answer["Cache-Control"].replace(" ", "").split(","))


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_packed_for_the_way(cast: Cast, client: Client, name: str) -> None:
    answer = client.get(address(name, cast.site), headers={"Accept-Encoding": "gzip"})
    assert answer["Content-Encoding"] == "gzip"
    assert b"</html>" in gzip.decompress(answer.content)


@pytest.mark.parametrize("name", PAGES)
def test_a_kept_page_takes_no_message_that_waits_for_the_desk(cast: Cast, client: Client, name: str) -> None:
    cookie: Any = CookieStorage(Client().get("/").wsgi_request)
    client.cookies["messages"] = cookie._encode([Message(messages.SUCCESS, "The changes are saved.")])
    assert "The changes are saved." not in client.get(address(name, cast.site)).content.decode()
    desk = client.get(reverse("group_desk", args=[cast.group.slug]))
    assert "The changes are saved." in desk.content.decode()


# -- the start


def test_the_start_lists_the_sites_with_their_groups_where_there_are_several(
    cast: Cast, client: Client
) -> None:
    assert cast.group.name not in text_of(client.get("/bank/"))
    MembershipFactory(group=cast.neighbour, user=cast.volunteer)
    text = text_of(client.get("/bank/"))
    assert "AB1 Stepping stones" in text
    assert "WB1 Withy ford" in text
    assert cast.neighbour.name in text


def test_the_start_says_that_it_leaves_sites_out(
    cast: Cast, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    SiteFactory(group=cast.group, code="AB2")
    assert "most pressing" not in text_of(client.get("/bank/"))
    monkeypatch.setattr("surveys.views.bank.MOST_SITES", 1)
    assert "These are the 1 most pressing sites" in text_of(client.get("/bank/"))


def test_the_start_of_whoever_has_no_sites_says_so(cast: Cast) -> None:
    stranger = Client()
    stranger.force_login(cast.stranger)
    assert "No open sites" in text_of(stranger.get("/bank/"))


# -- a site


def test_a_site_shows_hazards_way_plan_and_permission(cast: Cast, client: Client) -> None:
    change(
        cast.site,
        hazards="Deep pool.",
        access_notes="Park at the chapel.",
        landowner="Beck Farm",
        permission_conditions="Close the gate.",
        permission_until=timezone.localdate() + timedelta(days=9),
    )
    text = text_of(client.get(address("bank_site", cast.site)))
    for words in ("Deep pool.", "Park at the chapel.", "Beck Farm", "Close the gate.", "3 kicks of 10 s"):
        assert words in text
    assert text.index("Deep pool.") < text.index("Start a visit")
    assert "has run out" not in text


def test_a_site_warns_of_permission_that_ran_out(cast: Cast, client: Client) -> None:
    change(cast.site, permission_until=days_ago(1))
    assert "Permission has run out" in text_of(client.get(address("bank_site", cast.site)))


def test_a_site_shows_its_last_three_results(cast: Cast, client: Client) -> None:
    for day in (90, 60, 30):
        submit(cast.person("volunteer"), cast.site, visited_on=days_ago(day).isoformat())
    reason = {"was_made": False, "not_made_reason": "too_high", "spots": [], "counts": [], "measurements": {}}
    submit(cast.person("volunteer"), cast.site, visited_on=days_ago(5).isoformat(), **reason)
    text = text_of(client.get(address("bank_site", cast.site)))
    # All that the site's page at the desk leads with, the same in the same order.
    shown = [f"{column.heading} " for column in columns_of(cast.site.visits.all())]
    assert len(shown) > 1
    results = text.partition("Last results")[2]
    assert results.count("BMWP 48") == 2
    assert [results.count(each) for each in shown] == [2] * len(shown)
    assert "river too high" in text


def test_a_site_without_visits_says_so(cast: Cast, client: Client) -> None:
    assert "No visit yet." in text_of(client.get(address("bank_site", cast.site)))


def test_a_closed_site_offers_no_visit(cast: Cast, client: Client) -> None:
    change(cast.site, closed_on=days_ago(1))
    page = client.get(address("bank_site", cast.site)).content.decode()
    assert "data-start-visit" not in page
    assert "This site is closed" in page


def test_the_cautions_stand_ready_before_a_visit(cast: Cast, client: Client) -> None:
    page = client.get(address("bank_site", cast.site)).content.decode()
    assert "<dialog" in page
    assert "If in doubt, stay out." in page.partition("<dialog")[2]


# -- the form


def test_the_form_says_for_whom_and_on_which_list(cast: Cast, client: Client) -> None:
    page = client.get(address("bank_visit", cast.site)).content.decode()
    for attribute in (
        f'data-group="{cast.group.slug}"',
        f'data-site="{cast.site.pk}"',
        f'data-list="{cast.site.recording_list_id}"',
        f'data-person="{cast.volunteer.pk}"',
        'data-site-label="AB1 Stepping stones"',
    ):
        assert attribute in page


def test_the_form_has_the_fields_of_the_one_on_the_desk(cast: Cast, client: Client) -> None:
    started = client.post(reverse("visit_start", args=[cast.group.slug, cast.site.pk]))
    desk = names_in(client.get(started["Location"]).content.decode())
    bank = names_in(client.get(address("bank_visit", cast.site)).content.decode())
    assert desk - bank <= {"csrfmiddlewaretoken", "keep", "photo", "caption"}
    assert "counts-Baetidae-count" in bank


def names_in(page: str) -> set[str]:
    form = page.partition('id="visit-form"')[2].partition("</form>")[0]
    return {part.partition('"')[0] for part in form.split(' name="')[1:]}


def test_the_form_starts_with_oneself_and_the_plan(cast: Cast, client: Client) -> None:
    change(cast.site, spots=2, kicks_per_spot=4)
    entry = client.get(address("bank_visit", cast.site)).context["entry"]
    assert entry.form.initial["recorder"] == str(cast.volunteer.pk)
    assert entry.form.initial["spots-2-kicks"] == "4"
    assert entry.form.initial["visited_on"] == ""


# -- the state


def test_the_state_says_who_is_signed_in_and_what_to_keep(cast: Cast, client: Client) -> None:
    state = client.get("/bank/state/").json()
    assert (state["person"], state["name"]) == (str(cast.volunteer.pk), cast.volunteer.name)
    assert (state["release"], state["kept"]) == (release(), "1 site")
    assert address("bank_visit", cast.site) in [page["address"] for page in state["pages"]]
    assert len(state["token"]) == 64


def test_the_state_of_nobody_is_a_refusal_and_no_sign_in_page(cast: Cast) -> None:
    answer = Client().get("/bank/state/")
    assert (answer.status_code, answer["Content-Type"]) == (401, "application/problem+json")
    assert set(answer.json()) == {"type", "title", "status", "detail", "problems"}


def test_every_page_to_keep_can_be_opened(cast: Cast, client: Client) -> None:
    for page in client.get("/bank/state/").json()["pages"]:
        answer = client.get(page["address"])
        assert (answer.status_code, answer["X-Rifflebook-Release"]) == (200, release()), page


def test_no_page_of_a_site_that_is_left_out_is_listed(
    cast: Cast, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    SiteFactory(group=cast.group, code="AB2")
    monkeypatch.setattr(banks, "MOST_SITES", 1)
    assert len(client.get("/bank/state/").json()["pages"]) == 5


# -- who is told what by the pages of the portal


@pytest.mark.parametrize(("path", "expected"), [("/", 'content=""'), ("/account/login/", None)])
def test_a_signed_out_page_says_so_except_the_one_for_signing_in(
    cast: Cast, path: str, expected: str | None
) -> None:
    page = Client().get(path).content.decode()
    assert ('<meta name="person"' in page) == (expected is not None)
    assert expected is None or f'<meta name="person" {expected}' in page


def test_whoever_belongs_to_no_group_gets_no_worker(cast: Cast, client: Client) -> None:
    stranger = Client()
    stranger.force_login(cast.stranger)
    assert "data-worker" not in stranger.get("/").content.decode()
    assert "data-worker" in client.get("/bank/").content.decode()


def test_the_page_for_no_network_names_nobody(cast: Cast, client: Client) -> None:
    page = client.get("/bank/offline/").content.decode()
    assert cast.volunteer.name not in page
    assert '<meta name="person"' not in page
    assert page == Client().get("/bank/offline/").content.decode()


def test_the_ways_of_a_group_lead_to_the_bank(cast: Cast, client: Client) -> None:
    desk = client.get(reverse("group_desk", args=[cast.group.slug]))
    assert [item["label"] for item in desk.context["nav_items"]][:2] == ["Desk", "On the bank"]
