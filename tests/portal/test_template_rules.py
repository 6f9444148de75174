"""Rules every template keeps: nothing inline, nothing foreign, every picture named, every text translatable."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import wraps
from pathlib import Path

import pytest
from django.template import TemplateDoesNotExist, TemplateSyntaxError
from django.template.loader import get_template

TEMPLATES = Path(__file__).parents[2] / "templates"
PAGES = sorted(TEMPLATES.rglob("*.html"))
# E-mail and PDF are no pages: mail readers need inline style, and the policy does not reach them.
ON_SCREEN = [
    p for p in PAGES if not re.search(r"(^|/)(outbox|reports|email|mail)[/_]|_email\.html|_mail\.html", str(p))
]
OURS = [
    p for p in ON_SCREEN if p.relative_to(TEMPLATES).parts[0] in {"components", "account", "django", "allauth"}
]


def name(path: Path) -> str:
    return str(path.relative_to(TEMPLATES))


def each_of(paths: Sequence[Path]) -> Callable[[Callable[[Path], None]], Callable[[], None]]:
    """One test that looks at all of them: a test for each would take longer than the looking does."""

    def decorate(look: Callable[[Path], None]) -> Callable[[], None]:
        @wraps(look)
        def look_at_all() -> None:
            found = {name(path): fault for path in paths if (fault := _fault(look, path))}
            assert found == {}

        # Or pytest would go on asking for a fixture of that name.
        del look_at_all.__wrapped__
        return look_at_all

    return decorate


def _fault(look: Callable[[Path], None], path: Path) -> str:
    try:
        look(path)
    except (AssertionError, TemplateSyntaxError, TemplateDoesNotExist) as fault:
        return str(fault) or "wrong"
    return ""


def test_each_of_tells_which_one_is_wrong() -> None:
    @each_of(PAGES[:3])
    def look(path: Path) -> None:
        assert path != PAGES[1], "this one"

    with pytest.raises(AssertionError, match=re.escape(name(PAGES[1]))):
        look()


def inline_things(text: str) -> list[str]:
    """Style attributes, style blocks, handlers and scripts without an address."""
    patterns = (r"\sstyle=", r"<style\b", r"\son[a-z]+=[\"']", r"<script(?![^>]*\bsrc=)[^>]*>", r"javascript:")
    # JSON that a script reads is data; a policy lets it be.
    text = re.sub(r"<script[^>]*type=[\"']application/json[\"'][^>]*>", "", text)
    return [m for pattern in patterns for m in re.findall(pattern, text)]


@each_of(ON_SCREEN)
def test_it_holds_nothing_inline(path: Path) -> None:
    without_comments = re.sub(r"{% comment %}.*?{% endcomment %}", "", path.read_text(), flags=re.DOTALL)
    assert inline_things(without_comments) == []


@pytest.mark.parametrize(
    "bad",
    ['<p style="x">', "<style>", '<a onclick="x">', "<script>x", '<a href="javascript:x">', '<svg onload="x">'],
)
def test_it_would_notice_what_is_inline(bad: str) -> None:
    assert inline_things(bad) != []


@each_of(PAGES)
def test_it_compiles(path: Path) -> None:
    get_template(name(path))


@each_of(ON_SCREEN)
def test_it_loads_no_file_of_another_house(path: Path) -> None:
    loaded = r"\ssrc=[\"'](?:https?:)?//|<link[^>]*href=[\"'](?:https?:)?//|<form[^>]*action=[\"']https?://"
    assert re.findall(loaded, path.read_text()) == []


@each_of(ON_SCREEN)
def test_it_gives_every_picture_an_alternative(path: Path) -> None:
    assert re.findall(r"<img(?![^>]*\balt=)[^>]*>", path.read_text()) == []


@each_of(OURS)
def test_it_marks_every_text_for_translation(path: Path) -> None:
    text = path.read_text()
    for block in ("comment", "translate", "trans"):
        text = re.sub(rf"{{% {block} %}}.*?{{% end{block} %}}", "", text, flags=re.DOTALL)
    text = re.sub(r"{% blocktrans(?:late)?\b.*?{% endblocktrans(?:late)? %}", "", text, flags=re.DOTALL)
    # What a script reads is no text for people.
    text = re.sub(r'<script[^>]*type="application/json">.*?</script>', "", text, flags=re.DOTALL)
    bare = re.sub(r"{%.*?%}|{{.*?}}|<[^>]*>", "\n", text, flags=re.DOTALL)
    assert re.findall(r"[A-Za-z]{3,}", bare) == []
