"""A sheet taken out of the portal and sent in again: the same visits are known by their numbers."""

from __future__ import annotations

from typing import Any

import pytest

from surveys.importing import CheckedSheet, check_sheet, read_sheet
from surveys.models import Visit
from surveys.services.imports import load_sheet
from tests.conftest import Cast
from tests.exporting.archives import COUNTS, approved, as_file
from tests.exporting.files import exported
from tests.factories import days_ago
from tests.surveys.importing.sheets import sheet_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def full(cast: Cast) -> Cast:
    readings = {"temperature": {"value": "-0.5"}, "conductivity": {"value": "0.42", "unit": "mS/cm"}}
    approved(cast, notes="foam", measurements=readings)
    approved(cast, visited_on=days_ago(60).isoformat(), fraction_sorted="", counts=COUNTS[1:2])
    return cast


def checked(cast: Cast, change: Any = lambda text: text, kind: str = "csv") -> CheckedSheet:
    content = exported(cast, "counts", kind)
    content = change(content.decode("utf-8-sig")).encode() if kind == "csv" else content
    return check_sheet(group=cast.group, sheet=read_sheet(as_file(content), f"counts.{kind}"))


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_visits_that_say_the_same_are_known_and_unchanged(full: Cast, kind: str) -> None:
    found = checked(full, kind=kind)
    assert (found.problems, found.new, found.already_there, found.differing) == ((), 0, 2, ())


def test_the_fields_that_differ_are_named(full: Cast) -> None:
    found = checked(full, lambda text: text.replace("foam", "clear water"))
    assert [each.fields for each in found.differing] == [("notes",)]
    assert found.differing[0].site == "AB1"


def test_a_taxon_that_is_missing_is_a_difference_and_an_empty_cell_is_none(full: Cast) -> None:
    def without_one(text: str) -> str:
        # The last row of its visit: the rows before it still say all else.
        return "\n".join(text.splitlines()[:-1])

    (one,) = checked(full, without_one).differing
    assert one.fields == ("whole_tray.Perlidae",)
    assert checked(full, lambda text: text.replace("foam", "")).differing == ()


def test_a_day_put_right_in_the_sheet_makes_no_second_visit(full: Cast) -> None:
    visit = Visit.objects.of_group(full.group).latest("visited_on")
    moved = days_ago(200).isoformat()
    found = checked(full, lambda text: text.replace(visit.visited_on.isoformat(), moved))
    assert (found.new, found.already_there) == (0, 2)
    assert [each.fields for each in found.differing] == [("visited_on",)]


def test_loading_it_makes_no_second_visit_and_changes_none(full: Cast) -> None:
    content = exported(full, "counts", "csv").replace(b"foam", b"clear water")
    sheet = read_sheet(as_file(content), "counts.csv")
    done = load_sheet(person=full.person("coordinator"), group=full.group, sheet=sheet, file_name="x.csv")
    assert (done.new, done.already_there) == (0, 2)
    assert Visit.objects.of_group(full.group).filter(notes="foam").count() == 1


def test_a_number_of_another_groups_visit_is_only_a_word(full: Cast) -> None:
    theirs = Visit.objects.of_group(full.group).first()
    assert theirs
    full.neighbour_site.code = "NB7"
    full.neighbour_site.save()
    row = {"site": "NB7", "visit": str(theirs.pk)}
    found = check_sheet(group=full.neighbour, sheet=sheet_of(row))
    assert (found.problems, found.new, found.already_there) == ((), 1, 0)
    assert found.submissions[0].id != theirs.pk


def test_one_number_for_two_visits_is_a_problem(full: Cast) -> None:
    number = str(Visit.objects.of_group(full.group).latest("visited_on").pk)
    rows = ({"visit": number}, {"visit": number, "date": "2024-06-03"})
    found = check_sheet(group=full.group, sheet=sheet_of(*rows))
    assert [(each.row, each.column) for each in found.problems] == [(3, "visit")]
