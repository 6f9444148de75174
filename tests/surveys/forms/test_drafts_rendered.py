"""Whatever is typed into a draft stands in the form again, letter by letter, when the page is opened next."""

from __future__ import annotations

from collections import Counter
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st

from surveys.measuring.quantities import QUANTITIES
from surveys.models import Draft
from surveys.models.samples import FlowType
from surveys.models.visits import Clarity, NotMade, WaterLevel, Weather
from surveys.services.drafts import start_visit
from tests.conftest import Cast
from tests.surveys.pages import address, signed_in
from tests.surveys.test_fuzzing import fuzz


class Filled(HTMLParser):
    """The values that the inputs of a page hold, as a browser would send them back."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.values: dict[str, str] = {}
        self._select = self._area = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        name = given.get("name", "")
        if tag == "input" and given.get("type") in ("checkbox", "radio"):
            if "checked" in given:
                self.values[name] = given.get("value", "on")
        elif tag == "input":
            self.values[name] = given.get("value", "")
        elif tag == "select":
            self._select = name
        elif tag == "option" and "selected" in given:
            self.values[self._select] = given.get("value", "")
        elif tag == "textarea":
            self._area = name

    def handle_data(self, data: str) -> None:
        if self._area:
            self.values[self._area] = self.values.get(self._area, "") + data

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            # The first line break after the tag belongs to the page, not to the text.
            self.values[self._area] = self.values.get(self._area, "").strip()
            self._area = ""


# Anything a keyboard can write; blanks around it say nothing.
LETTERS = st.characters(exclude_categories=["Cs", "Cc", "Cn", "Zl", "Zp"])
TYPED = st.text(LETTERS, min_size=1, max_size=25).map(str.strip).filter(bool)
TEXT_FIELDS = st.sampled_from(
    [
        "visited_on",
        "started_at",
        "ended_at",
        "partner_name",
        "pollution_signs",
        "notes",
        "fraction_sorted",
        *(f"spots-{number}-{part}" for number in (1, 3, 4) for part in ("kicks", "seconds", "depth_cm")),
        *(f"measurements-{key}-value" for key in QUANTITIES),
    ]
)
SELECTS = {
    "not_made_reason": NotMade.values,
    "water_level": WaterLevel.values,
    "clarity": Clarity.values,
    "weather": Weather.values,
    "weather_past_week": Weather.values,
    "spots-2-flow_type": FlowType.values,
}
CHOSEN = st.fixed_dictionaries({}, optional={name: st.sampled_from(each) for name, each in SELECTS.items()})
TAXA = st.sampled_from(["Baetidae", "Chironomidae", "Asellidae", "Heptageniidae"])
# A count of 0 comes back as the tick at "looked for, none", which says the same.
NUMBERS = TYPED.filter(lambda typed: typed != "0")
COUNTED = st.dictionaries(TAXA.map(lambda taxon: f"counts-{taxon}-count"), NUMBERS, max_size=3)
KEYED = st.dictionaries(TAXA.map(lambda taxon: f"counts-{taxon}-key"), st.just("on"), max_size=2)
RANGED = st.dictionaries(
    TAXA.map(lambda taxon: f"counts-{taxon}-range"), st.sampled_from(["1-9", "10-99", "1000+"]), max_size=2
)


@pytest.fixture(autouse=True)
def _media(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def draft(cast: Cast) -> Draft:
    return start_visit(person=cast.person("volunteer"), site=cast.site)


def shown_after(cast: Cast, draft: Draft, post: dict[str, str], by: str = "draft_save") -> dict[str, str]:
    """Save the post, open the form anew, and read what it holds."""
    client = signed_in(cast.volunteer)
    client.raise_request_exception = True
    with transaction.atomic():
        saved = client.post(address(by, cast.group, draft_id=draft.pk), post)
        assert saved.status_code in (200, 302)
        page = client.get(address("visit_submit", cast.group, draft_id=draft.pk))
        transaction.set_rollback(True)
    return Filled(page.content.decode()).values


@fuzz(60)
@given(texts=st.dictionaries(TEXT_FIELDS, TYPED, max_size=8), chosen=CHOSEN)
def test_every_field_shows_what_was_typed(
    cast: Cast, draft: Draft, texts: dict[str, str], chosen: dict[str, str]
) -> None:
    typed = {"visited_on": "", **texts, **chosen}
    shown = shown_after(cast, draft, typed)
    assert {name: shown.get(name, "") for name in typed} == typed


@fuzz(40)
@given(counted=COUNTED, ranged=RANGED, keyed=KEYED)
def test_every_row_of_the_list_shows_what_was_typed(
    cast: Cast, draft: Draft, counted: dict[str, str], ranged: dict[str, str], keyed: dict[str, str]
) -> None:
    typed = counted | ranged | keyed
    shown = shown_after(cast, draft, typed)
    assert {name: shown.get(name, "") for name in typed} == typed


@fuzz(40)
@given(rows=st.lists(st.tuples(TYPED.map("?".__add__), st.just("") | NUMBERS), max_size=5))
def test_every_other_taxon_stands_in_a_row_of_its_own(
    cast: Cast, draft: Draft, rows: list[tuple[str, str]]
) -> None:
    post: dict[str, str] = {}
    for number, (name, count) in enumerate(rows, start=1):
        post |= {f"other-{number}-name": name, f"other-{number}-count": count}
    shown = shown_after(cast, draft, post)
    names = [name for name in shown if name.startswith("other-") and name.endswith("-name") and shown[name]]
    found = [(shown[name], shown.get(name.removesuffix("name") + "count", "")) for name in names]
    assert Counter(found) == Counter(rows)


@pytest.mark.parametrize("by", ["draft_save", "visit_submit"])
def test_both_ways_of_saving_keep_the_same(cast: Cast, draft: Draft, by: str) -> None:
    typed: dict[str, Any] = {
        "visited_on": "3rd of May",
        "notes": 'Half "done" & <more>',
        "counts-Elmidae-none": "on",
    }
    shown = shown_after(cast, draft, {**typed, "keep": "1"}, by)
    assert {name: shown[name] for name in typed} == typed
