"""The page of the key: whole without a script, open to everybody, and the same inside the form of a visit."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.translation import trans_real

from surveys.identification import End, load_drawings, load_key
from surveys.offline.bank import OPEN_PAGES
from surveys.services.drafts import start_visit
from surveys.templatetags.keying import key_drawing, key_symbol, one_attribute
from surveys.views.bank_key import SURE_WORDS
from tests.conftest import Cast
from tests.lasting import built_once

KEY = load_key()
# Of the page in bytes. A phone keeps it once; the network carries it packed.
LARGEST, LARGEST_PACKED = 480_000, 85_000


class Page(HTMLParser):
    """Collects ids, what refers to them, and the words of the page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.wanted: set[str] = set()
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.ids += [given["id"]] if "id" in given else []
        if given.get("href", "").startswith("#"):
            self.wanted.add(given["href"][1:])
        self.wanted |= set(given.get("aria-labelledby", "").split())

    def handle_data(self, data: str) -> None:
        self.text += data


def read() -> str:
    answer = Client().get(reverse("bank_key"))
    assert answer.status_code == 200
    return answer.content.decode()


content = built_once(read)


@pytest.fixture(scope="module")
def page(content: str) -> Page:
    return Page(content)


pytestmark = pytest.mark.django_db


def test_it_holds_every_step_and_every_end(page: Page) -> None:
    assert {f"key-{each}" for each in (*KEY.steps, *KEY.ends)} <= set(page.ids)


def test_no_link_and_no_label_leads_nowhere(page: Page) -> None:
    assert page.wanted - set(page.ids) == set()
    assert len(page.ids) == len(set(page.ids))


def test_without_a_script_every_answer_is_a_link_to_what_follows(content: str) -> None:
    for step in KEY.steps.values():
        section = re.search(rf'<section[^>]*id="key-{step.id}".*?</section>', content, re.DOTALL)
        assert section
        links = re.findall(r'class="key-choice[^>]*href="#key-(\w+)"', section[0])
        assert links == [choice.to for choice in step.choices]


@pytest.mark.parametrize("end", KEY.ends.values(), ids=lambda end: end.id)
def test_each_end_says_name_marks_confusions_and_what_to_do_in_doubt(page: Page, end: End) -> None:
    assert end.marks in page.text
    assert end.beware in page.text
    assert end.care in page.text
    assert str(SURE_WORDS[end.sure]) in page.text
    if end.found and end.broader:
        assert f"record {end.broader.name} ({end.broader.english})." in page.text


def test_it_says_to_take_a_picture_and_never_to_guess(page: Page) -> None:
    assert page.text.count("Never guess:") == len(KEY.ends)
    assert "ask your coordinator" in page.text


def test_it_names_every_source_and_says_which_were_read(page: Page) -> None:
    for source in KEY.sources.values():
        assert source.text in page.text
    read = sum(source.status == "read" for source in KEY.sources.values())
    assert page.text.count("were read for this key") == read
    assert page.text.count("Cited from memory") == len(KEY.sources) - read


def test_it_is_small_enough_for_a_phone(client: Client, content: str) -> None:
    assert len(content.encode()) <= LARGEST
    packed = client.get(reverse("bank_key"), headers={"Accept-Encoding": "gzip"})
    assert packed["Content-Encoding"] == "gzip"
    assert len(packed.content) <= LARGEST_PACKED


def test_a_phone_keeps_it() -> None:
    assert "bank_key" in OPEN_PAGES


def test_its_words_are_translated_where_they_are_shown(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    question, title = KEY.steps["legs"].question, load_drawings()["asellidae"].title
    words = {question: "Combien de pattes ?", title: "Un aselle"}
    real = trans_real.gettext
    monkeypatch.setattr("django.utils.translation._trans.gettext", lambda text: words.get(text) or real(text))
    content = client.get(reverse("bank_key")).content.decode()
    assert all(translated in content for translated in words.values())
    assert not any(english in content for english in words)


@pytest.mark.parametrize("name", ["home", "methods"])
def test_it_is_reached_from_the_open_pages(client: Client, name: str) -> None:
    assert reverse("bank_key") in client.get(reverse(name)).content.decode()


@pytest.mark.parametrize("name", ["visit_submit", "bank_visit"])
def test_both_forms_of_a_visit_have_its_dialog(client: Client, cast: Cast, name: str) -> None:
    client.force_login(cast.volunteer)
    draft = start_visit(person=cast.person("volunteer"), site=cast.site)
    thing = {"draft_id": draft.pk} if name == "visit_submit" else {"site_id": cast.site.pk}
    content = client.get(reverse(name, kwargs={"slug": cast.group.slug, **thing})).content.decode()
    assert f'data-address="{reverse("bank_key")}"' in content
    assert "data-key-open" in content
    assert "js/key-dialog" in content
    assert "css/key" in content


def test_a_drawing_stands_once_and_is_shown_by_reference() -> None:
    drawing = load_drawings()["asellidae"]
    symbol, place = key_symbol(drawing), key_drawing("asellidae")
    assert 'id="key-drawing-asellidae"' in symbol
    assert f'<title id="key-shows-asellidae">{drawing.title}</title>' in symbol
    assert drawing.inside in symbol
    assert 'href="#key-drawing-asellidae"' in place
    assert 'aria-labelledby="key-shows-asellidae"' in place


def test_no_name_breaks_an_attribute_of_names() -> None:
    names = {name for end in KEY.ends.values() for name in (*end.lines, *end.narrower)}
    assert not any("|" in name for name in names)
    assert one_attribute(("Baetidae", "Ephemeroptera")) == "Baetidae|Ephemeroptera"
