"""No text escapes translation: each page is read in a made-up language that brackets all that is marked."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.urls import reverse

from portal.views.methods.examples import FAMILIES, GROUPS
from scoring.taxa import all_taxa
from surveys.importing.columns import COLUMNS
from tests.access import scene
from tests.access.table import TABLE
from tests.access.test_matrix import ADDRESSES, answer_of, signed_in
from tests.access.world import World
from tests.chance import drawn
from tests.language.pseudo import PSEUDO, everything_marked, outside
from tests.language.reading import WORD, shown_texts, unmarked_words, words_of_the_data

once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world
# For those who build the portal, in their language.
UNTOLD = {"style_guide"}
# Set as PDF, which takes a second each and is nothing to be read here.
DOCUMENTS = {"record_sheet", "incident_evidence", "alert_evidence"}
WATCHERS = ("coordinator", "volunteer", "contact", "nobody")


@pytest.fixture
def spoken() -> Iterator[None]:
    with everything_marked():
        yield


def known_words() -> frozenset[str]:
    """Words that are no text of the portal: data, Latin names, headings of sheets."""
    names = [str(taxon) for taxon in all_taxa()] + [column.name for column in COLUMNS] + [FAMILIES, GROUPS]
    return words_of_the_data() | {word.lower() for text in names for word in WORD.findall(text)}


def pages_for(role: str) -> list[str]:
    """Those that no watcher before sees, and a third of the others by the day's lot."""
    seen = [each for each in TABLE if _is_seen(each, role) and each not in UNTOLD | DOCUMENTS]
    before = WATCHERS[: WATCHERS.index(role)]
    again = [each for each in seen if any(_is_seen(each, other) for other in before)]
    lot = drawn(again, len(again) // 3, f"texts for {role}")
    return [each for each in seen if each not in again or each in lot]


def _is_seen(name: str, role: str) -> bool:
    return TABLE[name].get("get", {}).get(role) == "ok"


@pytest.mark.parametrize("role", WATCHERS)
def test_no_page_shows_a_text_that_is_not_marked(world: World, spoken: None, role: str) -> None:
    client, data = signed_in(world, role), known_words()
    found: dict[str, set[str]] = {}
    for name in pages_for(role):
        url = reverse(name, kwargs=world.arguments(name, ADDRESSES[name]))
        answer = answer_of(client, "get", url, headers={"Accept-Language": PSEUDO})
        if answer.headers.get("Content-Type", "").startswith("text/html") and not answer.streaming:
            words = unmarked_words(shown_texts(answer.content.decode()), data)
            if words:
                found[name] = words
    assert found == {}


def test_a_text_that_is_not_marked_is_found() -> None:
    page = '<p>⟦Marked⟧ and not <b title="Hover">AB1</b></p><script>var code</script><i lang="la">Baetis</i>'
    assert unmarked_words(shown_texts(page), frozenset()) == {"and not: and not", "Hover: Hover"}


def test_what_stands_in_brackets_within_brackets_is_marked() -> None:
    assert outside("a ⟦b ⟦c⟧ d⟧ e").split() == ["a", "e"]
