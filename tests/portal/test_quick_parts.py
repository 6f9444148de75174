"""A part reads nothing but what it is given, and what is kept of it is never given out for something else."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from django.conf import settings
from django.template import Context, Node, Template, TemplateSyntaxError, engines
from django.template.base import TextNode, VariableNode
from django.template.defaulttags import CommentNode, FirstOfNode, ForNode, IfNode, LoadNode, URLNode, WithNode
from django.template.library import SimpleBlockNode, SimpleNode
from django.template.loader_tags import IncludeNode
from django.templatetags.i18n import BlockTranslateNode, TranslateNode
from django.templatetags.static import StaticNode
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.utils.translation import override

from portal.templatetags import quick_parts, ui
from portal.templatetags.quick_parts import PartNode

ENGINE = engines["django"].engine  # type: ignore[attr-defined]
PART = re.compile(r'{% part "([^"]+)"')
# Text, variables, words, addresses, and what chooses among them.
HARMLESS = (
    *(TextNode, VariableNode, CommentNode, FirstOfNode, ForNode, IfNode, LoadNode, WithNode),
    *(StaticNode, URLNode, TranslateNode, BlockTranslateNode),
)
OF_OURS = {ui.icon, ui.notice, ui.field_set, ui.card, ui.table_region}


def parts() -> set[str]:
    folder: Path = settings.BASE_DIR / "templates"
    return {name for file in folder.rglob("*.html") for name in PART.findall(file.read_text())}


def may_read(template: Template) -> Iterator[str]:
    """The tags of a template, and of those that it includes, that might read what is not in the key."""
    for node in template.nodelist.get_nodes_by_type(Node):
        if isinstance(node, IncludeNode | PartNode):
            yield from may_read(ENGINE.get_template(node.template.var))
        elif isinstance(node, SimpleNode | SimpleBlockNode):
            if node.takes_context or node.func not in OF_OURS:
                yield node.func.__name__
        elif not isinstance(node, HARMLESS):
            yield type(node).__name__


@pytest.mark.parametrize("name", sorted(parts()))
def test_a_part_reads_nothing_but_what_it_is_given(name: str) -> None:
    assert set(may_read(ENGINE.get_template(name))) == set()


@pytest.mark.parametrize(
    "tag",
    [
        "{% csrf_token %}",
        "{% now 'Y' %}",
        "{% load surveying %}{% known_taxa_options %}",
        "{% if a %}{% cycle 'a' 'b' %}{% endif %}",
        "{% include 'components/person_menu.html' only %}",
    ],
)
def test_a_tag_that_might_read_more_is_found(tag: str) -> None:
    assert set(may_read(Template(tag, engine=ENGINE)))


def test_there_are_parts() -> None:
    assert {"components/badge.html", "surveys/_kick_timer.html"} <= parts()


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
    return str(Template(BADGE, engine=ENGINE).render(Context(values)))


def test_a_part_is_drawn_once_for_the_same_values(counted: list[str]) -> None:
    page = Template(BADGE + BADGE, engine=ENGINE)
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
        engine=ENGINE,
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
