"""Visits taken in, and sheets loaded, against the same rows written by nothing but INSERT and COPY."""

from __future__ import annotations

import csv
import io
import os
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import timedelta
from typing import Any, NamedTuple
from uuid import uuid4

from django.db import connection, transaction
from django.utils import timezone

from alerts.models import Verdict
from portal.accounts.access import Person
from portal.accounts.models import Group, Membership
from portal.audit.models import AuditEntry
from portal.backup.database import rows_in, rows_out
from portal.growing.catches import NAMES
from surveys.importing import read_sheet
from surveys.models import Finding, ImportRun, Site, SpotEffort, TaxonCount, Visit, VisitScore
from surveys.services.imports import load_sheet
from surveys.services.visits import submit_visit
from surveys.submission import parse_submission
from tests.factories import data_for, person_for
from tests.owner import as_owner

TAKEN_IN = int(os.environ.get("BENCH_VISITS", "100"))
WARM_UP = 10
SHEET_VISITS = int(os.environ.get("BENCH_SHEET", "150"))
TAXA = 20
Statement = tuple[str, Any]


class Ground(NamedTuple):
    """A group, with somebody of it and its sites."""

    group: Group
    volunteer: Person
    coordinator: Person
    sites: list[Site]


def ground() -> Ground:
    # Not the one whose pages are measured: a database may be measured again.
    groups = list(Group.objects.filter(is_public=True).order_by("slug"))
    group = groups[2 * len(groups) // 3]
    members = Membership.objects.of_group(group).select_related("user").order_by("joined_at", "pk")
    people = {each.role: person_for(each.user) for each in members}
    sites = list(Site.objects.of_group(group).select_related("group", "recording_list").order_by("code"))
    return Ground(group, people["volunteer"], people["coordinator"], sites)


def taking_in() -> Mapping[str, float]:
    """Visits a second: read, checked, saved, scored, judged and committed; and the same INSERTs alone."""
    place = ground()
    times: dict[str, list[float]] = {"whole": [], "bare": []}
    for number in range(WARM_UP + TAKEN_IN):
        site = place.sites[number % len(place.sites)]
        whole = _seconds(lambda site=site: _take_in(place, site))  # type: ignore[misc]
        inserts = _inserts_of(place, site)
        bare = _seconds(lambda inserts=inserts: _repeat(inserts))  # type: ignore[misc]
        if number >= WARM_UP:
            times["whole"].append(whole)
            times["bare"].append(bare)
    return {name: round(len(took) / sum(took), 1) for name, took in times.items()}


def _take_in(place: Ground, site: Site) -> None:
    day = (timezone.localdate() - timedelta(days=1)).isoformat()
    counts = {name: 1 + 3 * at for at, name in enumerate(NAMES[:TAXA])}
    data = data_for(site, id=str(uuid4()), visited_on=day, counts=counts)
    submit_visit(person=place.volunteer, submission=parse_submission(data))


def _inserts_of(place: Ground, site: Site) -> list[Statement]:
    """What taking in such a visit would insert; it is not taken in."""
    found: list[Statement] = []

    def note(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        if sql.startswith("INSERT INTO"):
            found.extend(_one_by_one(sql, list(params)))
        return execute(sql, params, many, context)

    with transaction.atomic(), connection.execute_wrapper(note):
        _take_in(place, site)
        transaction.set_rollback(True)
    return found


def _one_by_one(sql: str, params: list[Any]) -> Iterator[Statement]:
    """The statements that went as one message, each with its own values: so the bare way asks them."""
    for each in sql.split("; "):
        number = each.count("%s")
        yield each, params[:number]
        del params[:number]


def _repeat(inserts: list[Statement]) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        for sql, params in inserts:
            cursor.execute(sql, params)


def loading() -> Mapping[str, float]:
    """Rows of a sheet a second: read, checked and loaded; and by COPY all rows that they become."""
    place = ground()
    # As a worker does that has loaded sheets before: what is read once a process has been read.
    with _taken_back():
        _load(place, _sheet(place, WARM_UP))
    content = _sheet(place, SHEET_VISITS)
    with _taken_back():
        whole = _seconds(lambda: _load(place, content))
        rows = list(_rows_of(place))
    # COPY into a table with policies is its owner's alone.
    with _taken_back(), as_owner():
        bare = _seconds(lambda: _copy(rows))
    count = SHEET_VISITS * TAXA
    return {"whole": round(count / whole), "bare": round(count / bare)}


def _load(place: Ground, content: bytes) -> None:
    sheet = read_sheet(io.BytesIO(content), "visits.csv")
    load_sheet(person=place.coordinator, group=place.group, sheet=sheet, file_name="visits.csv")
    _check_keys()


def _sheet(place: Ground, visits: int) -> bytes:
    """Visits on the first days on which there can have been any."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["site", "date", "taxon", "count", "effort", "start", "end"])
    for number in range(visits):
        site = place.sites[number % len(place.sites)]
        day = (site.opened_on or timezone.localdate()) + timedelta(days=1 + number)
        for at, name in enumerate(NAMES[:TAXA]):
            writer.writerow([site.code, day, name, 1 + at * 3, "standard", "10:00", "11:00"])
    return out.getvalue().encode()


Copied = tuple[str, list[str], list[bytes]]


def _rows_of(place: Ground) -> Iterator[Copied]:
    """The rows that the last loaded sheet has become, table by table."""
    run = ImportRun.objects.of_group(place.group).latest("loaded_at")
    visits = Visit.objects.of_group(place.group).filter(import_run=run)
    about = {"visit__in": visits}
    everywhere: dict[Any, dict[str, Any]] = {
        ImportRun: {"pk": run.pk},
        Visit: {"import_run": run},
        **dict.fromkeys((SpotEffort, TaxonCount, VisitScore, Finding, Verdict), about),
        AuditEntry: {"object_id__in": visits},
    }
    for model, chosen in everywhere.items():
        table = model._meta.db_table
        columns = [str(each.column) for each in model._meta.concrete_fields]
        found = model.objects.across_groups("a benchmark").filter(**chosen)
        keys = list(found.order_by("pk").values_list("pk", flat=True))
        with connection.cursor() as cursor:
            names = ", ".join(f'"{each}"' for each in columns)
            # A table of their own, because COPY TO reads whole tables or a query without parameters.
            made = (
                f'CREATE TEMP TABLE copied ON COMMIT DROP AS SELECT {names} FROM "{table}" WHERE id = ANY(%s)'
            )
            cursor.execute(made, [keys])
            yield table, columns, list(rows_out(cursor, "copied", columns))
            cursor.execute("DROP TABLE copied")


def _copy(rows: list[Copied]) -> None:
    with connection.cursor() as cursor:
        for table, columns, pieces in rows:
            rows_in(cursor, table, columns, pieces)
    _check_keys()


def _check_keys() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


@contextmanager
def _taken_back() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def _seconds(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun
