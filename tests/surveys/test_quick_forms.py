"""What is drawn once for many forms is the same as if it were drawn for each."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from django.template.loader import render_to_string
from django.utils import translation

from surveys.api.serializers import ScoreSerializer, VisitSummarySerializer
from surveys.effort import Kicked, effort_problems, is_standard, plan_of
from surveys.forms.counts import CountRow
from surveys.models import VisitScore
from surveys.queries import site_history
from surveys.templatetags.surveying import count_row, known_taxa_options
from tests.conftest import Cast
from tests.factories import submit

ROW = CountRow(name="counts-Baetidae", anchor="id_counts-3-baetidae", taxon="Baetidae", label="Mayflies")


def test_an_untouched_row_is_drawn_in_the_language_of_its_reader() -> None:
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
def test_a_row_in_which_somebody_was_at_work_is_drawn_anew(typed: dict[str, Any]) -> None:
    row = replace(ROW, **typed)
    assert not row.is_untouched
    assert count_row(row) == render_to_string("surveys/_count_row.html", {"row": row}) != count_row(ROW)


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
