"""The first visits as they would be stored: the same figures as once they are."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.conf import LazySettings

from surveys.importing.previewing import VISITS_SHOWN, preview_of
from surveys.models import Visit
from surveys.services.imports import load_sheet
from tests.conftest import Cast
from tests.surveys.importing.layouts import BY_VISIT, checked, laid
from tests.surveys.importing.sheets import checked as checked_rows

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_media(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


def test_its_scores_are_those_that_will_be_saved(cast: Cast) -> None:
    first = preview_of(cast.group, checked(cast.group, BY_VISIT))[0]
    load_sheet(person=cast.person("coordinator"), group=cast.group, sheet=laid(BY_VISIT), file_name="ours.csv")
    visit = Visit.objects.of_group(cast.group).get(visited_on="2024-05-03")
    saved = {score.index: score.value for score in visit.scores.all()}
    told = dict(first.scores)
    assert float(told["BMWP"]) == saved["bmwp"]
    assert float(told["ASPT"]) == pytest.approx(saved["aspt"], abs=0.005)
    assert first.recorder == "Vera Example"


def test_it_shows_a_few_visits_without_a_problem(cast: Cast) -> None:
    rows = [{"date": f"2024-{month:02d}-03"} for month in range(1, 9)]
    found = preview_of(cast.group, checked_rows(cast, {"site": "ZZ9"}, *rows))
    assert [each.submission.visited_on.month for each in found] == [1, 2, 3, 4, 5]
    assert len(found) == VISITS_SHOWN


def test_a_visit_that_was_not_made_has_no_score(cast: Cast) -> None:
    row = {"taxon": "", "count": "", "not_made": "too_high"}
    (found,) = preview_of(cast.group, checked_rows(cast, row))
    assert (found.scores, found.submission.was_made) == ((), False)


def test_a_recorder_who_is_no_member_keeps_the_name_as_written(cast: Cast) -> None:
    (found,) = preview_of(cast.group, checked_rows(cast, {"recorder": "Old Example"}))
    assert found.recorder == "Old Example"
