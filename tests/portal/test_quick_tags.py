"""The quick tags draw what Django's own draw, and what is kept is never given out for something else."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from uuid import UUID

import pytest
from django.template import Context, Engine, Template, TemplateSyntaxError, engines
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.utils.translation import gettext_lazy, override

from portal.templatetags import quick_parts
from portal.templatetags.quick_addresses import AddressNode
from portal.templatetags.quick_words import PlainWords, Sentence

OURS = engines["django"].engine  # type: ignore[attr-defined]
DJANGOS = Engine(libraries={"i18n": "django.templatetags.i18n"})
NUMBER = UUID("7c1f0a52-6d4e-4a8b-9a55-0a5f1f1f1f1f")
GIVEN = {
    "name": "<Brook & Mill>",
    "safe": mark_safe("<b>Mill</b>"),
    "put_off": gettext_lazy("Sites"),
    "number": 3,
    "one": 1,
    "thousands": 12_345.5,
    "group": {"slug": "alder-brook"},
    "id": NUMBER,
}
WORDS = (
    '{% translate "Sites" %}',
    "{% translate 'Sites' as word %}[{{ word }}]",
    '{% translate "100%% & <b>" %}',
    '{% translate "Sites"|upper %}',
    '{% translate "Sites" noop %}',
    "{% translate name %}{% translate put_off %}",
    '{% translate "May" context "a month" %}',
    "{% blocktranslate %}{{ name }} and {{ safe }}, 100%{% endblocktranslate %}",
    (
        "{% blocktranslate trimmed with a=name b=thousands %}\n  {{ a }}\n {{ b }}{{ missing }}"
        "{% endblocktranslate %}"
    ),
    "{% blocktranslate asvar said %}<i>{{ name }}</i>{% endblocktranslate %}[{{ said }}]",
    (
        "{% blocktranslate count n=number trimmed %}{{ n }} a"
        "{% plural %}{{ n }} b {{ name }}{% endblocktranslate %}"
    ),
    (
        "{% blocktranslate count number=one %}{{ number }} waits"
        "{% plural %}{{ number }} wait{% endblocktranslate %}"
    ),
    (
        "{% blocktranslate with m=number count n=m %}{{ n }} a"
        "{% plural %}{{ n }} of {{ m }} b{% endblocktranslate %}"
    ),
    (
        "{% autoescape off %}{% blocktranslate %}{{ name }}"
        "{% endblocktranslate %}{% translate 'A&b' %}{% endautoescape %}"
    ),
)
ADDRESSES = (
    "{% url 'home' %}",
    '{% url "group_desk" group.slug %}',
    "{% url 'site_detail' slug=group.slug site_id=id %}",
    "{% url 'site_detail' site_id=id slug=group.slug %}",
    "{% url 'group_desk' slug=group.slug as way %}{{ way }}",
    "[{% url 'group_desk' slug=name as way %}{{ way }}]",
    "[{% url 'home' %}?a=1&amp;b={{ number }}]",
)


def drawn(engine: Engine, text: str) -> str:
    return Template("{% load i18n %}" + text, engine=engine).render(Context(dict(GIVEN)))


@pytest.mark.parametrize("text", [*WORDS, *ADDRESSES], ids=range(len(WORDS) + len(ADDRESSES)))
@pytest.mark.parametrize("language", ["en-gb", "de"])
def test_a_quick_tag_draws_what_djangos_own_draws(text: str, language: str) -> None:
    with override(language):
        twice = [drawn(OURS, text), drawn(OURS, text)]
        assert twice == [drawn(DJANGOS, text)] * 2


def test_the_quick_ones_are_those_in_use() -> None:
    text = "{% load i18n %}{% translate 'Sites' %}{% blocktranslate %}a{% endblocktranslate %}{% url 'home' %}"
    kinds = {type(each) for each in Template(text, engine=OURS).nodelist}
    assert {PlainWords, Sentence, AddressNode} <= kinds


def test_words_follow_the_language_of_each_drawing() -> None:
    page = Template("{% load i18n %}{% translate 'Sites' %}", engine=OURS)
    said = {}
    for language in ("en-gb", "de", "en-gb"):
        with override(language):
            said[language] = page.render(Context())
    assert said["en-gb"] == "Sites" != said["de"]


@pytest.mark.parametrize("wrong", ["{% url 'group_desk' slug=name %}", "{% url 'no_such_page' %}"])
def test_what_has_no_address_says_so_every_time(wrong: str) -> None:
    for _twice in range(2):
        with pytest.raises(NoReverseMatch):
            drawn(OURS, wrong)


def test_a_sentence_counts_only_numbers() -> None:
    text = "{% blocktranslate count n=name %}{{ n }} waits{% plural %}{{ n }} wait{% endblocktranslate %}"
    with pytest.raises(TemplateSyntaxError, match="must be a number"):
        drawn(OURS, text)


@pytest.mark.parametrize(("first", "second"), [(1, True), ("1", 1), (mark_safe("a"), "a")])
def test_equal_values_of_two_kinds_are_two_addresses(first: object, second: object) -> None:
    page = Template("{% url 'group_desk' slug=value %}", engine=OURS)
    shown = [page.render(Context({"value": each})) for each in (first, second)]
    assert shown == [reverse("group_desk", args=[str(each)]) for each in (first, second)]


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """The templates that were really drawn."""
    found: list[str] = []
    draw = Template.render

    def noted(self: Template, context: Context) -> object:
        found.append(str(self.name))
        return draw(self, context)

    quick_parts.kept.clear()
    monkeypatch.setattr(Template, "render", noted)
    yield found
    quick_parts.kept.clear()


BADGE = "{% part 'components/badge.html' with word=word kind=kind %}"


def badge(**values: object) -> str:
    return str(Template(BADGE, engine=OURS).render(Context(values)))


def test_a_part_is_drawn_once_for_the_same_values(counted: list[str]) -> None:
    page = Template(BADGE + BADGE, engine=OURS)
    first = page.render(Context({"word": "late", "kind": "caution"}))
    assert first == page.render(Context({"word": "late", "kind": "caution", "person": "somebody else"}))
    assert counted.count("components/badge.html") == 1


OTHERS = (
    {"word": "in time", "kind": "caution"},
    {"word": "late", "kind": "ok"},
    {"word": mark_safe("<b>late</b>"), "kind": "caution"},
    {"word": "<b>late</b>", "kind": "caution"},
    {"word": None, "kind": "caution"},
    {"word": 1, "kind": "caution"},
    {"word": True, "kind": "caution"},
    {"word": ["late"], "kind": "caution"},
    {"word": ("late",), "kind": "caution"},
    {"word": {"late": 1}, "kind": "caution"},
    {"word": {"late": True}, "kind": "caution"},
    {"word": date(2026, 5, 1), "kind": "caution"},
)


def test_whatever_a_part_is_made_from_changes_it(counted: list[str]) -> None:
    shown = [badge(**each) for each in ({"word": "late", "kind": "caution"}, *OTHERS)]
    assert len(set(shown)) == len(shown) == counted.count("components/badge.html")


def test_another_language_never_gets_it(counted: list[str]) -> None:
    page = Template(
        "{% part 'components/photo_grid.html' with photos=none %}{% part 'surveys/_cautions.html' %}",
        engine=OURS,
    )
    shown = {}
    for language in ("en-gb", "de"):
        with override(language):
            shown[language] = page.render(Context({"none": []}))
    assert shown["en-gb"] != shown["de"]
    assert counted.count("surveys/_cautions.html") == 2


def test_a_part_sees_nothing_but_what_it_is_given() -> None:
    assert badge(word="late", kind="ok", icon_name="danger") == badge(word="late", kind="ok")


def test_what_can_change_under_the_key_is_refused() -> None:
    for value in (Template(""), timezone.now(), 1.5, iter(()), [{"label": {1}}]):
        with pytest.raises(TemplateSyntaxError, match="A part is made from plain values"):
            badge(word=value, kind="ok")


def test_no_more_than_so_many_parts_are_kept() -> None:
    few = quick_parts.KeptParts(2)
    for key in ("a", "b"):
        few.keep(key, mark_safe(key))
    few.get("a")
    few.keep("c", mark_safe("c"))
    assert [few.get(each) for each in "abc"] == ["a", None, "c"]
