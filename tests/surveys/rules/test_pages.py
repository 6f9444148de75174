"""Everybody may read how visits are checked, every rule with its source."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from surveys.measuring.quantities import QUANTITIES
from surveys.rules import RULES
from tests.surveys.pages import text_of


@pytest.fixture
def page(db: None) -> str:
    answer = Client().get(reverse("rules_table"))
    assert answer.status_code == 200
    return text_of(answer)


def test_it_explains_every_rule_with_its_source(page: str) -> None:
    for rule in RULES:
        assert f"{rule.title} {rule.explains} {rule.source}" in page


def test_it_tells_every_range_with_its_units_and_source(page: str) -> None:
    for quantity in QUANTITIES.values():
        assert f"{quantity.label} {', '.join(quantity.units)}" in page
        assert " ".join(str(quantity.source).split()) in page


def test_it_prints_the_limits_as_numbers_people_read(page: str) -> None:
    assert "0 – 60,000 50 – 1,500" in page
    assert "-1 – 40 0 – 25" in page


def test_it_parts_errors_from_findings(page: str) -> None:
    assert page.index("Errors Errors") < page.index("Findings Findings")
