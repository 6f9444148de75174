"""What a sheet adds is noted in one go over its rows, however PostgreSQL joins them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connection

from surveys.services.imports import load_sheet
from tests.conftest import Cast
from tests.owner import as_owner
from tests.surveys.importing.sheets import sheet_of

VISITS = 40


@pytest.fixture
def plans(cast: Cast) -> Iterator[list[str]]:
    """Plans of all statements from now on, those within triggers too, each with what its steps did."""
    told: list[str] = []
    with as_owner(), connection.cursor() as cursor:
        cursor.execute("LOAD 'auto_explain'")
        for name, value in {
            "log_min_duration": "0",
            "log_nested_statements": "on",
            "log_analyze": "on",
            "log_timing": "off",
            "log_format": "json",
            "log_level": "notice",
        }.items():
            cursor.execute(f"SET LOCAL auto_explain.{name} = {value}")
        # As it chooses for itself once it has made a plan for a few visits, in a portal of some size.
        cursor.execute("SET LOCAL enable_hashjoin = off")
        cursor.execute("SET LOCAL enable_mergejoin = off")
    handler = lambda notice: told.append(notice.message_primary or "")  # noqa: E731
    connection.connection.add_notice_handler(handler)
    yield told
    connection.connection.remove_notice_handler(handler)


def steps_of(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield plan
    for part in plan.get("Plans", ()):
        yield from steps_of(part)


def notes_in(told: list[str]) -> list[list[dict[str, Any]]]:
    """The steps of each statement that noted what was added to records."""
    found = [json.loads(each.partition("plan:")[2]) for each in told if "plan:" in each]
    notes = [each for each in found if "jsonb_build_object('rows'" in each["Query Text"]]
    return [
        list(steps_of(each["Plan"])) for each in notes if "INSERT INTO audit_rowchange" in each["Query Text"]
    ]


def test_no_row_of_a_sheet_is_held_against_each_of_its_visits(cast: Cast, plans: list[str]) -> None:
    taxa = ("Baetidae", "Heptageniidae", "Gammaridae", "Elmidae")
    days = [f"20{10 + at // 12}-{1 + at % 12:02}-03" for at in range(VISITS)]
    sheet = sheet_of(*({"date": day, "taxon": taxon} for day in days for taxon in taxa))
    load_sheet(person=cast.person("coordinator"), group=cast.group, sheet=sheet, file_name="old.csv")
    noted = notes_in(plans)
    counts = [steps for steps in noted if any(each["Actual Rows"] == VISITS * len(taxa) for each in steps)]
    assert counts
    # Each step is gone through once for all rows, not once for each of them.
    assert {each["Actual Loops"] for steps in noted for each in steps} <= {0, 1}
