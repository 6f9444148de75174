"""Templates obey the content policy, and every word of theirs can be translated."""

import re
from html.parser import HTMLParser

import pytest

from tests.house.source import templates

# Mail programs read no style sheets beside the letter, so a letter may carry its own; no page may.
LETTER = re.compile(r"(?:^|/)(?:mail|mails|email|emails|outbox)(?:/|_)|_mail\.html$")
COMMENTS = re.compile(r"{#.*?#}|{% comment.*?{% endcomment %}", re.DOTALL)
TRANSLATED = re.compile(r"{% (blocktranslate|blocktrans)\b.*?{% end\1 %}", re.DOTALL)
TAGS = re.compile(r"{%.*?%}|{{.*?}}", re.DOTALL)
CHOSEN = re.compile(rf"(</?)(?:{TAGS.pattern})", re.DOTALL)
# Names that are the same in every language.
NAMES = re.compile(r"\b(?:Rifflebook|BMWP|ASPT|EPT|WGS84)\b")
WORD = re.compile(r"[^\W\d_]{2,}")
READ_ALOUD = {"alt", "title", "placeholder", "aria-label", "aria-description"}
UNREAD = {"script", "style"}


class Policy(HTMLParser):
    """Collects what the content policy would block."""

    def __init__(self) -> None:
        super().__init__()
        self.blocked: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        inline = tag == "style" or (
            tag == "script" and "src" not in given and given.get("type") != "application/json"
        )
        self.blocked += [f"<{tag}>"] * inline
        self.blocked += [name for name in given if name == "style" or re.fullmatch(r"on\w+|hx-on.*", name)]


class Words(HTMLParser):
    """Collects words that no translation tag encloses."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.skipping = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.skipping += tag in UNREAD
        for name, value in attrs:
            if name in READ_ALOUD:
                self.handle_data(value or "")

    def handle_endtag(self, tag: str) -> None:
        self.skipping -= tag in UNREAD

    def handle_data(self, data: str) -> None:
        if not self.skipping and WORD.search(data):
            self.found.append(" ".join(data.split()))


def plain(text: str) -> str:
    """The template's HTML with its own tags taken out; an element whose name they choose is called x."""
    return TAGS.sub(" ", CHOSEN.sub(r"\1x ", COMMENTS.sub("", text)))


def blocked(text: str) -> list[str]:
    reader = Policy()
    reader.feed(plain(text))
    return reader.blocked


def untranslated(text: str) -> list[str]:
    reader = Words()
    reader.feed(NAMES.sub("", plain(TRANSLATED.sub(" ", text))))
    return reader.found


def test_no_page_holds_an_inline_script_style_or_handler() -> None:
    pages = [(name, text) for name, text in templates() if not LETTER.search(name)]
    assert {name: found for name, text in pages if (found := blocked(text))} == {}


def test_no_letter_holds_a_script_or_handler() -> None:
    letters = [(name, text) for name, text in templates() if LETTER.search(name)]
    found = {
        name: [word for word in blocked(text) if word not in {"style", "<style>"}] for name, text in letters
    }
    assert {name: words for name, words in found.items() if words} == {}


def test_every_word_of_a_template_is_marked_for_translation() -> None:
    assert {name: found for name, text in templates() if (found := untranslated(text))} == {}


@pytest.mark.parametrize(
    "text",
    [
        "<script>go()</script>",
        "<style>p {}</style>",
        "<p style='color: red'>",
        "<button {% if x %}onclick='go()'{% endif %}>",
        "<a hx-on:click='go()'>",
    ],
)
def test_what_the_policy_blocks_is_found(text: str) -> None:
    assert len(blocked(text)) == 1


@pytest.mark.parametrize(
    "text",
    [
        "<script src='{% static 'a.js' %}' defer></script>",
        "<script type='application/json' id='x'>{}</script>",
        "{# <style> #}<p class='style'>",
        "<a href='{% url 'x' %}' data-on='1'>",
    ],
)
def test_what_the_policy_allows_is_passed(text: str) -> None:
    assert blocked(text) == []


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("<p>{% translate 'Site' %}</p>", []),
        ("{% blocktranslate %}The <b>site</b>{% endblocktranslate %}", []),
        ("<p>{{ site.name }} · 3</p>", []),
        ("<p>Site</p>", ["Site"]),
        ("<img alt='River'>", ["River"]),
        ("<input placeholder='{% translate 'Name' %}'>", []),
        ("<script type='application/json'>word</script>", []),
    ],
)
def test_unmarked_words_are_found(text: str, expected: list[str]) -> None:
    assert untranslated(text) == expected
