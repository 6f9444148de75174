"""A sheet taken in many visits at once leaves the same rows as its visits submitted one after the other."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, models, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import HealthCheck, given
from hypothesis import settings as by_chance
from hypothesis import strategies as st

from alerts.models import Incident, Trigger, Verdict
from portal.audit.models import AuditEntry, RowChange
from portal.outbox.models import Message
from surveys.importing import Sheet, check_sheet
from surveys.models import (
    Finding,
    ImportRun,
    Measurement,
    SpotEffort,
    TaxonCount,
    Visit,
    VisitScore,
)
from surveys.services.imports import load_sheet, loading
from surveys.services.visits import submit_visit
from tests.conftest import Cast
from tests.factories import SiteFactory, TaxonCountFactory, VisitFactory, days_ago
from tests.surveys.importing.sheets import sheet_of

Row = dict[str, str]
PARTS = (SpotEffort, Measurement, TaxonCount, VisitScore, Finding, Verdict)
# What differs from one time to the next: keys that are counted up or drawn, and moments.
APART = {"id", "submitted_at", "scored_at", "decided_at", "at", "transaction", "import_run_id"}
TAXA = ("Baetidae", "Heptageniidae", "Perlidae", "Baetis rhodani", "Chironomidae", "Gammaridae", "Elmidae")
AMOUNTS = ("0", "1", "12", "400", "1-9", "1000+", "present")

rows_of_counts = st.lists(
    st.tuples(st.sampled_from(TAXA), st.sampled_from(AMOUNTS)),
    min_size=1,
    max_size=4,
    unique_by=lambda row: row[0],
)
said_of_visits = st.fixed_dictionaries(
    {
        "site": st.sampled_from(["AB1", "AB2"]),
        "date": st.sampled_from(["2024-05-03", "2024-05-04", "2024-11-05"]),
        # Two visits to a site on one day are asked about, the second of them only.
        "visit": st.sampled_from(["", "second"]),
    },
    optional={
        "effort": st.just("standard"),
        "ph": st.sampled_from(["7.1", "7,4", "9.9", "4.1"]),
        "nitrate_mg_l_no3": st.sampled_from(["<0.5", "12", "70"]),
        "spot1_kicks": st.just("3"),
        "recorder": st.sampled_from(["Vera Example", "Somebody Else"]),
        "fraction_sorted": st.just("1/4"),
        "pollution_signs": st.just('grey "film", {x}\\'),
        "water_level": st.just("spate"),
        "start": st.just("10:00"),
    },
)


def as_rows(said: Row, counts: list[tuple[str, str]]) -> list[Row]:
    told = {name: value for name, value in said.items() if not (name == "spot1_kicks" or value == "")}
    if "spot1_kicks" in said and "effort" not in said:
        told |= {"spot1_kicks": "3", "spot1_seconds": "90", "spot1_depth_cm": "60"}
    return [told | {"taxon": taxon, "count": count} for taxon, count in counts]


@pytest.fixture
def past(cast: Cast) -> None:
    """A site with a past, so that something unusual can be found; and a trigger that all of it is below."""
    SiteFactory(group=cast.group, code="AB2")
    for number in range(9):
        day = days_ago(400 + 31 * number)
        visit = VisitFactory(
            site=cast.site,
            visited_on=day,
            status="approved",
            reviewed_by=cast.coordinator,
            entered_by=cast.volunteer,
        )
        TaxonCountFactory(visit=visit, taxon="Baetidae", count=10 + number)
        VisitScore.objects.create(visit=visit, index="bmwp", version="1", value=40 + number)
        Measurement.objects.create(visit=visit, quantity="ph", unit="pH", as_typed="7.2", value="7.2")
    Trigger.objects.create(
        group=cast.group, site=cast.site, index="bmwp", level=99, valid_from=days_ago(4000), reason="x"
    )


def load(cast: Cast, sheet: Sheet) -> ImportRun:
    load_sheet(person=cast.person("coordinator"), group=cast.group, sheet=sheet, file_name="old.csv")
    return ImportRun.objects.of_group(cast.group).latest("loaded_at")


def submit_each(cast: Cast, sheet: Sheet) -> ImportRun:
    checked = check_sheet(group=cast.group, sheet=sheet)
    assert not checked.problems
    run = ImportRun.objects.create(group=cast.group, started_by=cast.coordinator, file_name="old.csv")
    for each in checked.submissions:
        person = cast.person("coordinator")
        assert submit_visit(person=person, submission=each, import_run=run, past_record=True).is_new
    return run


def left_by(cast: Cast, sheet: Sheet, take_in: Callable[[Cast, Sheet], ImportRun]) -> dict[str, Any]:
    """What a way of taking a sheet in leaves behind, table by table; it is taken back."""
    with taken_back():
        run = take_in(cast, sheet)
        visits = Visit.objects.of_group(cast.group).filter(import_run=run)
        numbers = list(visits.values_list("pk", flat=True))
        found = {"visits": plain(visits)}
        for model in PARTS:
            rows = model.objects.across_groups("all of the visits")
            found[model.__name__] = plain(rows.filter(visit__in=numbers))
        entries = AuditEntry.objects.of_group(cast.group).filter(object_id__in=numbers)
        changes = RowChange.objects.filter(table="surveys_visit", row__in=map(str, numbers))
        return found | {"entries": plain(entries), "changes": plain(changes), "times": rising(visits)}


@contextmanager
def taken_back() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def plain(rows: models.QuerySet[Any]) -> list[Any]:
    names = [each.attname for each in rows.model._meta.concrete_fields if each.attname not in APART]
    told = [tuple(map(rounded, row)) for row in rows.order_by("pk").values_list(*names)]
    return sorted(told, key=repr)


def rounded(value: Any) -> Any:
    # A table of many visits adds up in another order than one visit by itself.
    return f"{value:.9g}" if isinstance(value, float) and math.isfinite(value) else value


def rising(visits: models.QuerySet[Visit]) -> bool:
    """Whether each was submitted after the one before: lists of one day are ordered by it."""
    times = list(visits.order_by("submitted_at").values_list("submitted_at", flat=True))
    return len(set(times)) == len(times)


@by_chance(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(said_of_visits, rows_of_counts),
        min_size=1,
        max_size=10,
        unique_by=lambda visit: (visit[0]["site"], visit[0]["date"], visit[0]["visit"]),
    )
)
def test_many_at_once_are_as_one_by_one(cast: Cast, past: None, visits: list[tuple[Row, Any]]) -> None:
    sheet = sheet_of(*[row for said, counts in visits for row in as_rows(said, counts)])
    at_once, one_by_one = left_by(cast, sheet, load), left_by(cast, sheet, submit_each)
    assert at_once == one_by_one
    assert len(at_once["visits"]) == len(visits)
    assert at_once["times"]


def of_days(number: int, **said: str) -> Sheet:
    """So many visits, each on a day of its own."""
    days = [(days_ago(800) + timedelta(days=each)).isoformat() for each in range(number)]
    return sheet_of(*[{"date": day, "taxon": taxon, **said} for day in days for taxon in TAXA])


@pytest.mark.parametrize("at_once", [1, 7, 150])
def test_it_is_the_same_in_several_batches(
    cast: Cast, past: None, monkeypatch: pytest.MonkeyPatch, at_once: int
) -> None:
    """Later batches know of earlier ones: readings of a sheet are held against those before them in it."""
    sheet = of_days(20, ph="7.2")
    monkeypatch.setattr(loading, "AT_ONCE", at_once)
    left = left_by(cast, sheet, load)
    assert left == left_by(cast, sheet, submit_each)
    assert len(left["TaxonCount"]) == 20 * len(TAXA)


def test_what_comes_before_it_in_the_sheet_counts_for_a_visit(cast: Cast) -> None:
    """Eight readings of one sheet are enough to know what is usual, and a visit on the same day is seen."""
    days = [(days_ago(800) + timedelta(days=each)).isoformat() for each in range(8)]
    usual = [{"date": day, "ph": "7.0"} for day in days]
    odd = [{"date": days[-1], "ph": "8.9", "visit": "again"}]
    load(cast, sheet_of(*usual, *odd))
    found = Finding.objects.of_group(cast.group).filter(rule__in=["reading_jumps", "same_day"])
    assert {each.visit.visited_on.isoformat() for each in found} == {days[-1]}
    assert "same_day" in {each.rule for each in found}
    assert found.filter(field="measurements.ph").exists()


def test_it_opens_nothing_and_writes_to_nobody(cast: Cast, past: None) -> None:
    load(cast, of_days(3, pollution_signs="grey film"))
    assert Verdict.objects.of_group(cast.group).filter(reasons=["past_record"]).count() == 3
    assert not Incident.objects.of_group(cast.group).exists()
    assert not Message.objects.filter(group=cast.group).exists()


def test_it_asks_the_database_no_more_often_for_many_visits_than_for_few(cast: Cast, past: None) -> None:
    with taken_back(), CaptureQueriesContext(connection) as few:
        load(cast, of_days(2, ph="7.2", effort="standard"))
    with taken_back(), CaptureQueriesContext(connection) as many:
        load(cast, of_days(40, ph="7.2", effort="standard"))
    assert len(many) <= len(few) < 40


def test_a_number_that_is_another_groups_stops_all_of_the_sheet(cast: Cast) -> None:
    from surveys.errors import Conflict

    sheet = of_days(2)
    taken = check_sheet(group=cast.group, sheet=sheet).submissions[1].id
    VisitFactory(id=taken, site=cast.neighbour_site, entered_by=cast.neighbour_volunteer)
    with pytest.raises(Conflict), transaction.atomic():
        load(cast, sheet)
    assert not Visit.objects.of_group(cast.group).exists()


def test_the_moment_is_that_of_loading(cast: Cast) -> None:
    begun = timezone.now()
    load(cast, of_days(2))
    for visit in Visit.objects.of_group(cast.group):
        assert begun < visit.submitted_at < timezone.now()
