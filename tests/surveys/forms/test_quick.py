"""What is drawn once for many forms is the same as if it were drawn for each."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from django.template.loader import render_to_string
from django.utils import timezone, translation

from surveys.api.queries import visits_with_told_scores
from surveys.api.serializers import ScoreSerializer, VisitSummarySerializer
from surveys.forms.counts import CountRow
from surveys.forms.visit import VisitForm
from surveys.models import Site, VisitScore
from surveys.queries import site_history
from surveys.scores.provisional import provisional_for
from surveys.templatetags.surveying import count_row, known_taxa_options, other_row, provisional_score
from surveys.visits.effort import Kicked, effort_problems, is_standard, plan_of
from tests.conftest import Cast
from tests.factories import SiteFactory, submit
from tests.surveys.scores.test_provisional import FAMILIES, GROUPS

ROW = CountRow(name="counts-Baetidae", anchor="id_counts-3-baetidae", taxon="Baetidae", label="Mayflies")


def test_a_row_is_drawn_in_the_language_of_its_reader() -> None:
    drawn = {}
    for language in ("en-gb", "de", "en-gb"):
        with translation.override(language):
            drawn[language] = count_row(ROW)
            assert drawn[language] == render_to_string("surveys/_count_row.html", {"row": ROW})
    assert drawn["en-gb"] != drawn["de"]


@pytest.mark.parametrize(
    "typed",
    [
        *({"count": "12"}, {"is_none": True}, {"range": "1-9"}, {"by_key": True}, {"recorded_as": "Baetis"}),
        *({"errors": ("Not a number.",)}, {"findings": ("Many.",)}),
    ],
)
def test_a_row_in_which_somebody_was_at_work_is_drawn_as_it_stands(typed: dict[str, Any]) -> None:
    row = replace(ROW, **typed)
    for _twice in range(2):
        assert count_row(row) == render_to_string("surveys/_count_row.html", {"row": row}) != count_row(ROW)
        for is_whole in (True, False):
            context = {"row": row, "is_whole": is_whole}
            shown = other_row(row, is_whole)
            assert shown == render_to_string("surveys/_other_row.html", context)
    assert other_row(row) != other_row(row, True)


def form_of(site: Site, people: int, **data: Any) -> VisitForm:
    chosen = [(str(number), f"Person {number}") for number in range(people)]
    return VisitForm(site=site, people=chosen, kits=chosen, data=data, errors={})


@pytest.mark.django_db
def test_fields_that_are_drawn_once_are_alike_on_all_forms(cast: Cast) -> None:
    """What a field is made from besides its value; those of one group are drawn for each form."""
    other = SiteFactory(name="Elsewhere", spots=2, kicks_per_spot=5, seconds_per_kick=20)
    forms = form_of(cast.site, 1), form_of(other, 3, notes="Cold.", visited_on="2026-05-01")
    made_from = [
        {
            name: (str(each.label), str(each.help_text), each.required, each.widget.attrs, choices_of(each))
            for name, each in form.fields.items()
        }
        for form in forms
    ]
    shared = made_from[0].keys() & made_from[1].keys()
    assert {name for name in shared if made_from[0][name] != made_from[1][name]} == forms[0].own_fields


def choices_of(field: Any) -> list[Any]:
    return [(str(value), str(words)) for value, words in getattr(field, "choices", ())]


@pytest.mark.django_db
def test_what_somebody_typed_is_on_their_own_form_alone(cast: Cast) -> None:
    names = ("notes", "visited_on", "weather", "spots-1-kicks", "was_made", "recorder")
    data = {
        "notes": "Otter <seen>.",
        "visited_on": "2026-05-01",
        "weather": "dry",
        "spots": [{"number": 1, "kicks": "3"}],
    }
    first = form_of(cast.site, 2, **data)
    typed = {name: str(first[name].as_field_group()) for name in names}
    empty = {name: str(form_of(cast.site, 1)[name].as_field_group()) for name in names}
    assert {name for name in names if typed[name] != empty[name]} == set(names) - {"was_made"}
    assert typed == {name: str(form_of(cast.site, 2, **data)[name].as_field_group()) for name in names}
    wrong = VisitForm(site=cast.site, people=(), data={}, errors={"weather": ["Odd."]})
    assert "Odd." in str(wrong["weather"].as_field_group())
    assert "Odd." not in str(form_of(cast.site, 1)["weather"].as_field_group())
    with translation.override("de"):
        assert str(form_of(cast.site, 1)["weather"].as_field_group()) != empty["weather"]


def test_known_taxa_are_told_in_the_language_of_the_reader() -> None:
    with translation.override("de"):
        german = known_taxa_options()
    assert '<option value="Baetidae">' in german
    assert known_taxa_options() != german


@pytest.mark.django_db
def test_scores_in_a_list_are_those_of_the_serializer(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, counts={"Baetidae": 3, "Chaoboridae": 1})
    rows = VisitScore.objects.of_group(cast.group).filter(visit=visit, is_current=True).order_by("index")
    told = VisitSummarySerializer(visit).data["scores"]
    assert told == [dict(each) for each in ScoreSerializer(rows, many=True).data]
    assert len(told) > 10
    VisitScore.objects.of_group(cast.group).filter(visit=visit, index="ntaxa").update(value=60)
    with timezone.override("Europe/Berlin"):
        (packed,) = (VisitSummarySerializer(each).data for each in visits_with_told_scores(cast.group))
        assert json.dumps(packed["scores"]) == json.dumps(ScoreSerializer(rows.all(), many=True).data)


@pytest.mark.django_db
@pytest.mark.parametrize("seconds", ["30", "26.9", "27"])
def test_a_history_knows_the_standard_effort_as_the_verdict_does(cast: Cast, seconds: str) -> None:
    spots = [{"number": number, "kicks": 3, "seconds": seconds} for number in (1, 2, 3)]
    visit = submit(cast.person("volunteer"), cast.site, spots=spots)
    standard = not effort_problems(visit, cast.site)
    assert [each.is_standard for each in site_history(cast.site, "bmwp")] == [standard]
    kicked = tuple(Kicked(number, 3, Decimal(seconds)) for number in (1, 2, 3))
    assert is_standard(kicked, plan_of(cast.site)) is standard


@pytest.mark.django_db
def test_no_effort_on_record_is_no_standard_one(cast: Cast) -> None:
    submit(cast.person("volunteer"), cast.site, spots=[])
    assert [each.is_standard for each in site_history(cast.site, "bmwp")] == [False]


def test_the_score_while_somebody_counts_is_drawn_for_each_list_and_language() -> None:
    families = provisional_for(FAMILIES)
    drawn = {}
    for language in ("en-gb", "de"):
        with translation.override(language):
            drawn[language] = provisional_score(families)
            context = {"provisional": families}
            assert drawn[language] == render_to_string("surveys/_provisional_score.html", context)
    assert drawn["en-gb"] != drawn["de"]
    assert provisional_score(provisional_for(GROUPS)) != provisional_score(families)
    assert provisional_score(provisional_for(())) == ""
