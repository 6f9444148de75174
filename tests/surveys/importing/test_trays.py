"""Sheets with shares of a tray, finds of the whole tray, and taxa seen and not counted."""

from __future__ import annotations

import pytest

from surveys.submission import Entry
from tests.conftest import Cast
from tests.surveys.importing.sheets import checked, only_problem


def test_it_reads_the_word_present(cast: Cast) -> None:
    (submission,) = checked(cast, {"count": "Present"}).submissions
    assert submission.counts == (Entry("Baetidae"),)


def test_it_reads_a_share_of_the_tray_and_what_was_picked_out_of_all_of_it(cast: Cast) -> None:
    (submission,) = checked(
        cast,
        {"fraction_sorted": "1/4", "count": "12", "whole_tray": ""},
        {"fraction_sorted": "", "count": "2", "whole_tray": "Yes"},
    ).submissions
    assert submission.fraction_sorted == "1/4"
    assert submission.counts == (Entry("Baetidae", count=12), Entry("Baetidae", count=2, whole_tray=True))


def test_it_refuses_another_word_for_the_whole_tray(cast: Cast) -> None:
    problem = only_problem(cast, {"whole_tray": "some"})
    assert (problem.row, problem.column) == (2, "whole_tray")
    assert "Only the word yes" in problem.message


def test_it_points_at_the_row_that_needs_a_fraction(cast: Cast) -> None:
    problem = only_problem(cast, {"taxon": "Elmidae"}, {"whole_tray": "yes"})
    assert (problem.row, problem.column) == (3, "whole_tray")


@pytest.mark.parametrize("cell", ["0.25", "5/4", "all"])
def test_it_refuses_at_its_cell_what_is_no_fraction(cast: Cast, cell: str) -> None:
    problem = only_problem(cast, {"fraction_sorted": cell})
    assert (problem.row, problem.column) == (2, "fraction_sorted")


@pytest.mark.parametrize("cell", ["2024-04-01", "1-Apr", "Apr-01"])
def test_it_says_what_the_spreadsheet_made_of_a_fraction(cast: Cast, cell: str) -> None:
    problem = only_problem(cast, {"fraction_sorted": cell})
    assert problem.column == "fraction_sorted"
    assert "Format the column as text" in problem.message


def test_it_refuses_the_same_taxon_twice_in_the_whole_tray(cast: Cast) -> None:
    rows = [{"fraction_sorted": "1/4", "whole_tray": "yes"}] * 2
    problem = only_problem(cast, *rows)
    assert (problem.row, problem.column) == (3, "taxon")
