"""A group taken out as a file and loaded into an empty one has the same scores, visit for visit."""

from __future__ import annotations

from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from portal.accounts.models import Group
from surveys.exporting.darwin.reading import sheet_of_archive
from surveys.importing import Sheet, UnusableFile, check_sheet, read_sheet
from surveys.models import Visit
from surveys.services.visits import submit_visit
from surveys.submission import submission_data
from tests.conftest import Cast
from tests.exporting.archives import COUNTS, approved, archive_bytes, archive_file, as_file, with_terms
from tests.exporting.files import exported
from tests.factories import SiteFactory, VisitFactory, days_ago

pytestmark = pytest.mark.django_db
Scores = dict[tuple[str, date], dict[str, Any]]
# What no sheet carries: numbers of this portal, the kit, and people whom the other group does not know.
UNCARRIED = {"id", "site", "recorder", "recorder_name", "partner", "partner_name", "kit"}


@pytest.fixture
def full(cast: Cast) -> Cast:
    """Visits of many kinds, and a twin site in the neighbour's group with nothing in it."""
    with_terms(cast)
    approved(cast)
    approved(cast, visited_on=days_ago(60).isoformat(), fraction_sorted="", counts=COUNTS[1:2])
    approved(cast, visited_on=days_ago(90).isoformat(), notes="=SUM(A1)", counts=[COUNTS[0], COUNTS[4]])
    approved(cast, visited_on=days_ago(90).isoformat(), started_at="15:00", ended_at="16:00", counts=COUNTS[:4])
    approved(
        cast,
        visited_on=days_ago(120).isoformat(),
        measurements={"temperature": {"value": "-0.5"}, "conductivity": {"value": "0.42", "unit": "mS/cm"}},
    )
    SiteFactory(group=cast.neighbour, code="AB1")
    return cast


def loaded(cast: Cast, sheet: Sheet) -> None:
    checked = check_sheet(group=cast.neighbour, sheet=sheet)
    assert checked.problems == ()
    for each in checked.submissions:
        submit_visit(person=cast.person("neighbour_coordinator"), submission=each, past_record=True)


def scores_of(group: Group) -> Scores:
    visits = Visit.objects.of_group(group).filter(was_made=True).order_by("visited_on", "started_at")
    return {
        (str(visit.started_at), visit.visited_on): {
            score.index: (score.value, score.low, score.high, score.version, score.left_out)
            for score in visit.scores.filter(is_current=True)
        }
        for visit in visits
    }


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
class TestSheets:
    def test_scores_are_equal_visit_for_visit(self, full: Cast, kind: str) -> None:
        loaded(full, read_sheet(as_file(exported(full, "counts", kind)), f"counts.{kind}"))
        before = scores_of(full.group)
        assert scores_of(full.neighbour) == before
        assert len(before) == 5

    def test_all_that_a_sheet_carries_comes_back(self, full: Cast, kind: str) -> None:
        loaded(full, read_sheet(as_file(exported(full, "counts", kind)), f"counts.{kind}"))
        for one, other in zip(*(in_order(group) for group in (full.group, full.neighbour)), strict=True):
            assert other == one

    def test_visits_that_were_not_made_come_along(self, full: Cast, kind: str) -> None:
        VisitFactory(site=full.site, visited_on=days_ago(5), was_made=False, not_made_reason="too_high")
        loaded(full, read_sheet(as_file(exported(full, "counts", kind)), f"counts.{kind}"))
        (gap,) = Visit.objects.of_group(full.neighbour).filter(was_made=False)
        assert (gap.visited_on, gap.not_made_reason) == (days_ago(5), "too_high")


def in_order(group: Group) -> list[dict[str, Any]]:
    """What was said of each visit, as far as a sheet carries it; readings by value and unit of their column."""
    visits = Visit.objects.of_group(group).order_by("visited_on", "started_at")
    return [comparable(submission_data(visit)) for visit in visits]


def comparable(data: dict[str, Any]) -> dict[str, Any]:
    kept = {name: value for name, value in data.items() if name not in UNCARRIED}
    kept["measurements"] = {
        name: ("420", "µS/cm") if reading["unit"] == "mS/cm" else (reading["value"], reading["unit"])
        for name, reading in data["measurements"].items()
    }
    return kept


class TestArchives:
    def test_scores_are_equal_visit_for_visit(self, full: Cast) -> None:
        loaded(full, sheet_of_archive(as_file(archive_bytes(full))))
        before = scores_of(full.group)
        assert scores_of(full.neighbour) == before
        assert len(before) == 5

    def test_readings_conditions_and_effort_come_back(self, full: Cast) -> None:
        loaded(full, sheet_of_archive(as_file(archive_bytes(full))))
        lost = {"notes", "pollution_signs"}
        for one, other in zip(*(in_order(group) for group in (full.group, full.neighbour)), strict=True):
            assert {k: v for k, v in other.items() if k not in lost} == {
                k: v for k, v in one.items() if k not in lost
            }

    def test_the_command_loads_one(self, full: Cast, tmp_path: Path) -> None:
        call_command(
            "import_visits", archive_file(full, tmp_path), group=full.neighbour.slug, stdout=StringIO()
        )
        assert scores_of(full.neighbour) == scores_of(full.group)

    @pytest.mark.parametrize("content", [b"no zip", b"", b"PK\x05\x06" + bytes(18)])
    def test_a_file_that_is_no_archive_of_ours_is_refused_in_words(self, content: bytes) -> None:
        with pytest.raises(UnusableFile, match="no Darwin Core Archive"):
            sheet_of_archive(as_file(content))
