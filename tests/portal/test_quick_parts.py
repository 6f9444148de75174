"""What is drawn as a part reads nothing but what it is given: each tag of each of them is one that cannot."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.template import Node, Template, engines
from django.template.base import TextNode, VariableNode
from django.template.defaulttags import CommentNode, FirstOfNode, ForNode, IfNode, LoadNode, WithNode
from django.template.library import SimpleBlockNode, SimpleNode
from django.template.loader_tags import IncludeNode
from django.templatetags.static import StaticNode

from portal.templatetags import ui
from portal.templatetags.quick_addresses import AddressNode
from portal.templatetags.quick_parts import PartNode
from portal.templatetags.quick_words import PlainWords, Sentence

ENGINE = engines["django"].engine  # type: ignore[attr-defined]
PART = re.compile(r'{% part "([^"]+)"')
# Text, variables, words, addresses, and what chooses among them.
HARMLESS = (
    *(TextNode, VariableNode, CommentNode, FirstOfNode, ForNode, IfNode, LoadNode, WithNode),
    *(StaticNode, AddressNode, PlainWords, Sentence),
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
