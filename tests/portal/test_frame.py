"""The frame of a page: who is signed in, which group, where one may go on, and the caution at the foot."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.utils import translation
from django.views.defaults import server_error

from portal.style_guide import colour_tokens, sample_visits, style_guide_context

CAUTION = "Rifflebook is not an emergency service. If people or wildlife are in danger now, telephone"


def group(name: str, slug: str) -> SimpleNamespace:
    return SimpleNamespace(name=name, slug=slug)


def person(*groups: SimpleNamespace) -> SimpleNamespace:
    memberships = [SimpleNamespace(group=g, role="volunteer") for g in groups]
    return SimpleNamespace(is_signed_in=True, name="Ada <Fenwick>", memberships=memberships)


def frame(template: str = "404.html", **context: Any) -> str:
    return render_to_string(template, context)


@pytest.mark.parametrize(
    "template", ["base.html", "base_public.html", "base_plain.html", "404.html", "403.html"]
)
def test_it_warns_on_every_page_that_it_is_no_emergency_service(template: str) -> None:
    assert CAUTION in frame(template).replace("&#x27;", "'")


def test_it_names_each_language_as_its_speakers_do() -> None:
    with translation.override("de"):
        html = frame()
    assert 'lang="en-gb" hreflang="en-gb" rel="alternate">English</a>' in html
    assert '<span lang="de">Deutsch</span>' in html


@pytest.mark.parametrize("template", ["base.html", "base_public.html", "base_plain.html"])
def test_it_says_its_language_and_lets_one_skip_to_the_content(template: str) -> None:
    html = frame(template)
    assert '<html lang="en-gb" dir="ltr">' in html
    assert 'href="#content"' in html
    assert html.count('id="content"') == 1


def test_it_offers_a_stranger_the_way_in_and_nothing_else() -> None:
    html = frame()
    assert "Sign in" in html
    assert "popovertarget" not in html


def test_it_offers_the_groups_of_the_person_and_marks_the_current_one() -> None:
    alder, withy = group("Alder <Beck>", "alder"), group("Withy", "withy")
    html = frame(person=person(alder, withy), current_group=alder)
    assert "Alder &lt;Beck&gt;" in html
    assert html.count('aria-current="true"') == 1
    assert "Sign out" in html
    assert "Ada &lt;Fenwick&gt;" in html


def test_it_shows_the_ways_on_with_what_waits() -> None:
    items = [{"label": "To review", "url": "/r", "current": True, "count": 3}, {"label": "Sites", "url": "/s"}]
    html = frame(nav_items=items)
    assert (
        '<a class="nav-link" href="/r" aria-current="page">To review <span class="count">3</span></a>' in html
    )
    assert html.count('class="count"') == 1


def test_it_shows_no_way_bar_when_there_is_no_way() -> None:
    assert "way-bar" not in frame()


@pytest.mark.parametrize("template", ["base_plain.html", "base_public.html"])
def test_it_keeps_the_desk_off_public_and_signed_pages(template: str) -> None:
    html = frame(template, person=person(group("Alder", "a")), nav_items=[{"label": "Sites", "url": "/s"}])
    assert "group-switch" not in html
    assert "way-bar" not in html


def test_it_keeps_signed_addresses_out_of_indexes_and_referrers() -> None:
    html = frame("base_plain.html")
    assert 'content="noindex, nofollow"' in html
    assert 'name="referrer" content="same-origin"' in html
    assert "noindex" not in frame("base.html")


def test_it_can_say_that_it_broke_without_any_context(rf: Any) -> None:
    answer = server_error(rf.get("/"))
    assert answer.status_code == 500
    assert b"Something broke on our side" in answer.content
    with translation.override("de"):
        assert b'<html lang="de">' in server_error(rf.get("/")).content


@pytest.mark.django_db
def test_a_form_from_before_signing_in_is_answered_in_words_for_people() -> None:
    answer = Client(enforce_csrf_checks=True).post("/account/login/", {"login": "ada@example.org"})
    assert answer.status_code == 403
    html = answer.content.decode()
    assert "was opened before you last signed in" in html
    assert "CSRF" not in html
    assert CAUTION in html


@pytest.mark.django_db
def test_an_address_that_is_not_the_portal_s_is_answered_by_a_page(client: Client) -> None:
    answer = client.get("/", headers={"host": "elsewhere.example"})
    assert answer.status_code == 400
    assert "look whether ALLOWED_HOSTS has it" in answer.content.decode()
    assert "css/tokens" in answer.content.decode()


def test_it_shows_every_token_and_component_in_the_style_guide() -> None:
    html = frame("portal/style_guide.html", **style_guide_context())
    for name in colour_tokens():
        assert f"<strong>--{name}</strong>" in html
    for css_class in (
        "button--danger",
        "badge--ok",
        "notice--caution",
        "facts",
        "timeline",
        "table--stack",
        "errors",
    ):
        assert css_class in html
    assert html.count("<h1") == 1


def test_it_reads_the_tokens_of_the_light_palette() -> None:
    tokens = colour_tokens()
    assert tokens["paper"] == "#f3f6f3"
    assert len(tokens) >= 20


def test_it_samples_every_state_a_visit_can_have() -> None:
    assert {p.state for p in sample_visits()} == {"normal", "below", "untested", "unscored"}
