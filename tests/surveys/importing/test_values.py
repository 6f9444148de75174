"""Days, figures and marks as people type them."""

from __future__ import annotations

from datetime import date

import pytest

from surveys.importing.values import (
    Order,
    guess_order,
    has_decimal_comma,
    read_amount,
    read_day,
    read_figure,
)

TODAY = date(2026, 11, 25)


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("2024-05-03", "dmy", "2024-05-03"),
        ("3/5/2024", "dmy", "2024-05-03"),
        ("3/5/2024", "mdy", "2024-03-05"),
        ("03.05.2024", "dmy", "2024-05-03"),
        ("3-5-24", "dmy", "2024-05-03"),
        ("3/5/98", "dmy", "1998-05-03"),
        ("2024/5/3", "dmy", "2024-05-03"),
        ("3 May 2024", "mdy", "2024-05-03"),
        ("3-Sept-24", "ymd", "2024-09-03"),
    ],
)
def test_it_reads_a_day(text: str, order: Order, day: str) -> None:
    assert read_day(text, order, TODAY) == day


@pytest.mark.parametrize("text", ["31/2/2024", "13/13/2024", "spring", "3 Foo 2024", "", "2024-02-31"])
def test_it_leaves_what_is_no_day_to_be_refused(text: str) -> None:
    assert read_day(text, "dmy", TODAY) == text


@pytest.mark.parametrize(
    ("cells", "order"),
    [
        (["2024-05-03", "2024-06-03"], "ymd"),
        (["3/5/2024", "13/5/2024"], "dmy"),
        (["3/5/2024", "3/13/2024"], "mdy"),
        (["3/5/2024"], "dmy"),
        ([], "dmy"),
    ],
)
def test_it_guesses_the_order_that_all_cells_allow(cells: list[str], order: str) -> None:
    assert guess_order(cells) == order


def test_it_sees_a_decimal_comma() -> None:
    assert has_decimal_comma(["7", "7,4"])
    assert has_decimal_comma(["<0,05"])
    assert not has_decimal_comma(["7.4", "12", "a, b"])


def test_it_reads_figures_with_a_comma() -> None:
    assert read_figure("1.234,5", comma=True) == "1234.5"
    assert read_figure("7.4", comma=False) == "7.4"


@pytest.mark.parametrize(
    ("text", "amount"), [("X", "present"), ("present", "present"), ("12", "12"), ("1.200", "1.200"), ("", "")]
)
def test_it_reads_marks(text: str, amount: str) -> None:
    assert read_amount(text, comma=False, marks=("x", "present"), empty_is_none=False) == amount


def test_it_reads_an_empty_cell_as_it_is_told() -> None:
    assert read_amount("", comma=False, marks=(), empty_is_none=True) == "0"
    assert read_amount("1.200", comma=True, marks=(), empty_is_none=True) == "1200"
    assert read_amount("x", comma=False, marks=(), empty_is_none=True) == "x"
