"""Numbers as typed."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.submission.fields import RANGE_TEXTS, range_text
from surveys.submission.numbers import decimal_of, limit_or_value, plain_text


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("7", "7"),
        ("7.4", "7.4"),
        ("7,4", "7.4"),
        ("0,125", "0.125"),
        ("-0.5", "-0.5"),
        ("−0,5", "-0.5"),
        (" 12 ", "12"),
        ("1200", "1200"),
        ("1234,5", "1234.5"),
        ("00012", "12"),
    ],
)
def test_it_reads(text: str, value: str) -> None:
    assert decimal_of(text) == Decimal(value)


@pytest.mark.parametrize(
    "text",
    ["", "-", ".", "7.", ".4", "7..4", "7 4", "1e3", "nan", "inf", "seven", "+7", "7.4.1", "٧", "123456789"],
)
def test_it_refuses(text: str) -> None:
    with pytest.raises(ValueError, match="number"):
        decimal_of(text)


@pytest.mark.parametrize("text", ["1,200", "12,000", "999,999", "-1,200"])
def test_it_refuses_what_has_two_readings(text: str) -> None:
    with pytest.raises(ValueError, match="two ways"):
        decimal_of(text)


@pytest.mark.parametrize("text", ["12,0000", "0,125", "1,20"])
def test_it_reads_a_comma_that_can_only_be_a_decimal(text: str) -> None:
    assert decimal_of(text) == Decimal(text.replace(",", "."))


def test_it_tells_a_limit_from_a_value() -> None:
    assert limit_or_value("<0.05") == (Decimal("0.05"), True)
    assert limit_or_value("0.05") == (Decimal("0.05"), False)


@given(st.decimals(min_value=-10_000, max_value=10_000, places=4))
def test_it_reads_back_what_it_writes(value: Decimal) -> None:
    # Three decimals and more can look like thousands only after a comma, which is never written.
    assert decimal_of(plain_text(value)) == value


@pytest.mark.parametrize(
    ("value", "text"), [("30.0", "30"), ("30", "30"), ("0.500", "0.5"), ("1E+3", "1000"), ("0", "0")]
)
def test_it_writes_without_spare_signs(value: str, text: str) -> None:
    assert plain_text(Decimal(value)) == text


# Ranges of the trade: 1-9, 10-99, 100-999 and 1,000+, never letters.
def test_it_writes_the_four_ranges() -> None:
    assert list(RANGE_TEXTS) == ["1-9", "10-99", "100-999", "1000+"]
    assert [range_text(*limits) for limits in RANGE_TEXTS.values()] == list(RANGE_TEXTS)
