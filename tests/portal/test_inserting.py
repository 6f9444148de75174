"""Rows written by one statement are what was handed over, letter for letter; the database refuses the same."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import DataError, IntegrityError, ProgrammingError, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries

from portal.accounts.walls import within
from portal.inserting import insert_rows
from surveys.models import Draft, Finding, Measurement, TaxonCount, Visit, VisitScore
from tests.conftest import Cast
from tests.factories import VisitFactory

COUNT = ("visit_id", "taxon", "recorded_as", "count")
# Whatever PostgreSQL keeps as text: all but NUL and lone surrogates.
texts = st.text(st.characters(exclude_characters="\x00", exclude_categories=["Cs"]), max_size=40)


@pytest.fixture
def visit(cast: Cast) -> Visit:
    made: Visit = VisitFactory(site=cast.site)
    return made


def counts(visit: Visit) -> list[tuple[Any, ...]]:
    return list(visit.counts.order_by("pk").values_list("taxon", "recorded_as", "count"))


def test_it_writes_all_rows_in_their_order_by_one_statement(
    visit: Visit, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    rows = [(f"Taxon {number}", "", number) for number in range(50)]
    with django_assert_num_queries(1):
        insert_rows(TaxonCount, COUNT, [(visit.pk, *row) for row in rows])
    assert counts(visit) == rows


def test_nothing_is_asked_for_no_rows(visit: Visit, django_assert_num_queries: DjangoAssertNumQueries) -> None:
    with django_assert_num_queries(0):
        insert_rows(TaxonCount, COUNT, [])


def test_columns_that_are_not_named_are_as_in_a_new_row(visit: Visit) -> None:
    insert_rows(TaxonCount, ("visit_id", "taxon"), [(visit.pk, "Baetidae")])
    made, usual = visit.counts.get(), TaxonCount(visit=visit, taxon="Baetidae")
    names = [each.attname for each in TaxonCount._meta.concrete_fields if each.name != "id"]
    assert [getattr(made, name) for name in names] == [getattr(usual, name) for name in names]


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(texts, st.none() | st.integers(0, 2**31 - 1)), max_size=6))
def test_any_text_comes_back_as_it_was(visit: Visit, rows: list[tuple[str, int | None]]) -> None:
    visit.counts.all().delete()
    told = [(f"Taxon {place}", text, number) for place, (text, number) in enumerate(rows)]
    insert_rows(TaxonCount, COUNT, [(visit.pk, *row) for row in told])
    assert counts(visit) == told


@pytest.mark.parametrize("text", ["NULL", "null", "{}", '"', "\\", "a,b", " ", "", '{a,"b"}\\\'%s', "é\n\t"])
def test_what_means_something_in_an_array_is_only_text(visit: Visit, text: str) -> None:
    insert_rows(TaxonCount, COUNT, [(visit.pk, "Baetidae", text, 1)])
    assert counts(visit) == [("Baetidae", text, 1)]


def test_each_kind_of_value_comes_back_as_it_was(visit: Visit) -> None:
    value, moment = Decimal("-12345678.1200"), datetime(2024, 2, 29, 23, 59, 59, 999999, UTC)
    reading = (visit.pk, "ph", "pH", "−1", value, True)
    insert_rows(Measurement, ("visit_id", "quantity", "unit", "as_typed", "value", "is_below_limit"), [reading])
    score = (visit.pk, "aspt", "1", 48 / 7, None, 1e-300, "", ["Ä", '"'], False, moment)
    columns = ("visit_id", "index", "version", "value", "low", "high", "why_none", "left_out", "is_current")
    insert_rows(VisitScore, (*columns, "scored_at"), [score])
    read = visit.measurements.get()
    assert (read.visit_id, read.quantity, read.unit, read.as_typed, read.value, read.is_below_limit) == reading
    kept = visit.scores.get()
    assert tuple(getattr(kept, name) for name in (*columns, "scored_at")) == score


def test_days_times_and_keys_come_back_as_they_were(cast: Cast) -> None:
    number, moment = uuid4(), datetime(2024, 1, 2, 3, 4, 5, tzinfo=UTC)
    told: dict[str, Any] = {
        **{"id": number, "group_id": cast.group.pk, "site_id": cast.site.pk},
        **{"recording_list_id": cast.site.recording_list_id, "entered_by_id": cast.volunteer.pk},
        **{"visited_on": date(2024, 2, 29), "started_at": time(9, 5), "ended_at": None},
        **{"submitted_at": moment, "position_latitude": 54.12345, "position_longitude": -0.1},
        **{"position_accuracy_m": 5, "position_source": "phone"},
    }
    insert_rows(Visit, tuple(told), [tuple(told.values())])
    made = Visit.objects.of_group(cast.group).get(pk=number)
    assert {name: getattr(made, name) for name in told} == told


@pytest.mark.parametrize("as_text", [False, True])
def test_json_is_kept_whether_it_comes_as_text_or_not(visit: Visit, as_text: bool) -> None:
    left_out: Any = ["Perlidae", 'say "no"', "\\", "a,b", None, 1.5, {"ä": []}]
    told = json.dumps(left_out) if as_text else left_out
    moment = datetime(2024, 1, 1, tzinfo=UTC)
    insert_rows(
        VisitScore,
        ("visit_id", "index", "version", "left_out", "scored_at"),
        [(visit.pk, "bmwp", "1", told, moment)],
    )
    assert visit.scores.get().left_out == left_out


def test_a_text_that_is_too_long_is_refused_and_not_cut_off(visit: Visit) -> None:
    with pytest.raises(DataError), transaction.atomic():
        insert_rows(TaxonCount, COUNT, [(visit.pk, "x" * 81, "", 1)])
    assert counts(visit) == []


@pytest.mark.parametrize(("rows", "why"), [(2, "taxon_once_in_a_visit"), (1, "count_range_or_presence")])
def test_constraints_hold_and_no_row_goes_in(visit: Visit, rows: int, why: str) -> None:
    low = None if rows == 2 else 3
    told = [(visit.pk, "Baetidae", 1, low)] * rows
    with pytest.raises(IntegrityError, match=why), transaction.atomic():
        insert_rows(TaxonCount, ("visit_id", "taxon", "count", "low"), told)
    assert counts(visit) == []


def test_the_second_wall_holds(cast: Cast, visit: Visit) -> None:
    row = (uuid4(), visit.pk, "many", "counts.Baetidae", "Is a digit too many?")
    columns = ("id", "visit_id", "rule", "field", "message")
    with (
        within(cast.neighbour.pk),
        pytest.raises(ProgrammingError, match="row-level security"),
        transaction.atomic(),
    ):
        insert_rows(Finding, columns, [row])
    with within(cast.group.pk):
        insert_rows(Finding, columns, [row])
    assert visit.findings.get().message == "Is a digit too many?"


def test_what_saving_would_fill_in_must_be_named(cast: Cast) -> None:
    columns = ("id", "group_id", "site_id", "entered_by_id")
    with pytest.raises(ValueError, match="Draft: updated_at must differ by row"):
        insert_rows(Draft, columns, [(uuid4(), cast.group.pk, cast.site.pk, cast.volunteer.pk)])
