"""Which scores a phone works out for a recording list, and what the form says beside them."""

from __future__ import annotations

import pytest

from scoring.tables import read_table
from surveys.scores.provisional import provisional_for
from surveys.services.built_in_lists import family_rows
from surveys.services.drafts import start_visit
from tests.conftest import Cast
from tests.surveys.pages import address, signed_in, text_of

FAMILIES = tuple(row["taxon"] for row in family_rows())
GROUPS = tuple(row["taxon"] for row in read_table("bankside"))


def test_it_leads_with_the_headline_of_the_list() -> None:
    families = provisional_for(FAMILIES)
    assert families.headline is not None
    assert families.headline.key == "bmwp"
    assert {"ntaxa", "aspt", "whpt", "whpt_aspt", "bankside"} <= {method.key for method in families.others}


def test_it_leaves_out_what_the_list_cannot_support() -> None:
    groups = provisional_for(GROUPS)
    assert [method.key for method in groups.methods] == ["bankside"]
    assert list(groups.tables["tables"]) == ["bankside"]


@pytest.mark.parametrize("taxa", [(), ("Baetidae",)])
def test_it_shows_nothing_for_a_list_that_supports_nothing(taxa: tuple[str, ...]) -> None:
    assert provisional_for(taxa).headline is None


def test_the_form_says_provisional_and_nothing_of_the_trigger(cast: Cast) -> None:
    draft = start_visit(person=cast.person("volunteer"), site=cast.site)
    page = signed_in(cast.volunteer).get(address("visit_submit", cast.group, draft_id=draft.pk))
    words = text_of(page)
    assert "Provisional score" in words
    assert "The portal scores it again when it arrives." in words
    assert "trigger" not in words.casefold()
    # Closed for whoever has no script, and at every start.
    assert "data-provisional hidden>" in page.content.decode()
