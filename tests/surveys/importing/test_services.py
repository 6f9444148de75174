"""Keeping, loading and approving sheets."""

from __future__ import annotations

import io
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.http import Http404
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.audit.services import history_of
from surveys.errors import NotPossible
from surveys.importing import UnusableFile, check_sheet
from surveys.importing.queries import loaded_runs, run_state
from surveys.models import ImportRun, Visit
from surveys.models.visits import Source, Status
from surveys.services import imports
from surveys.services.imports import keeping, loading
from surveys.services.visits import Receipt, correct_visit, submit_visits
from surveys.signals import visit_judged
from surveys.submission import parse_submission, submission_data
from surveys.tasks import clear_old_sheets
from tests.conftest import Cast
from tests.surveys.importing.sheets import csv_of, sheet_of

TWO_VISITS = ({"taxon": "Baetidae"}, {"taxon": "Heptageniidae", "count": "1-9"}, {"date": "2024-06-03"})


@pytest.fixture(autouse=True)
def _own_media(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


def kept(cast: Cast, *rows: dict[str, str], by: str = "coordinator", name: str = "old visits.csv") -> ImportRun:
    file = io.BytesIO(csv_of(rows or TWO_VISITS))
    return imports.keep_sheet(person=cast.person(by), group=cast.group, file=file, file_name=name)


def loaded(cast: Cast, *rows: dict[str, str], by: str = "coordinator") -> ImportRun:
    run = kept(cast, *rows, by=by)
    imports.load_run(person=cast.person(by), run=run)
    run.refresh_from_db()
    return run


def visits(cast: Cast) -> list[Visit]:
    return list(Visit.objects.of_group(cast.group).order_by("visited_on"))


def test_it_keeps_a_sheet_under_its_own_name_and_loads_nothing(cast: Cast) -> None:
    run = kept(cast, name="../../etc/old visits.CSV")
    assert run.file_name == "old visits.CSV"
    assert run.file.name == f"imports/{run.pk}.csv"
    assert (run.rows_read, run.loaded_at, visits(cast)) == (3, None, [])


def test_it_refuses_to_keep_what_is_no_sheet(cast: Cast) -> None:
    with pytest.raises(UnusableFile):
        imports.keep_sheet(
            person=cast.person("coordinator"), group=cast.group, file=io.BytesIO(b"hello"), file_name="x.csv"
        )
    assert not ImportRun.objects.of_group(cast.group).exists()


def test_it_refuses_a_sheet_too_long_for_a_page(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeping, "ROWS_ON_A_PAGE", 3)
    assert kept(cast)
    monkeypatch.setattr(keeping, "ROWS_ON_A_PAGE", 2)
    with pytest.raises(UnusableFile, match="more than 2 rows"):
        kept(cast)


def test_it_checks_a_kept_sheet_without_its_being_sent_again(cast: Cast) -> None:
    checked = imports.check_run(person=cast.person("coordinator"), run=kept(cast))
    assert (checked.new, checked.already_there, checked.problems) == (2, 0, ())


def test_it_loads_visits_scored_and_waiting(cast: Cast) -> None:
    run = loaded(cast)
    first, second = visits(cast)
    assert (run.visits_loaded, run.rows_read) == (2, 3)
    assert {each.status for each in (first, second)} == {Status.WAITING}
    assert (first.source, first.is_past_record, first.import_run_id) == (Source.IMPORT, True, run.pk)
    assert (first.entered_by_id, first.recorder_id) == (cast.coordinator.pk, None)
    assert {score.index: score.value for score in first.scores.all()}["bmwp"] == 14
    assert first.counts.get(taxon="Heptageniidae").high == 9


def test_it_writes_who_loaded_what(cast: Cast) -> None:
    run = loaded(cast)
    assert [entry.verb for entry in history_of(run, cast.group)] == ["import.loaded"]
    assert [entry.verb for entry in history_of(visits(cast)[0], cast.group)] == ["visit.imported"]


def test_it_tells_the_floor_above_that_visits_were_imported(cast: Cast) -> None:
    heard: list[int] = []

    def listen(event: str, visits: list[Visit], **_: object) -> None:
        assert event == "imported"
        heard.append(len(visits))

    visit_judged.connect(listen)
    try:
        loaded(cast)
    finally:
        visit_judged.disconnect(listen)
    assert heard == [2]


def test_it_loads_nothing_of_a_sheet_with_one_problem(cast: Cast) -> None:
    run = kept(cast, *TWO_VISITS, {"date": "2024-07-03", "ph": "acid"})
    with pytest.raises(imports.SheetHasProblems) as refused:
        imports.load_run(person=cast.person("coordinator"), run=run)
    assert [(each.row, each.column) for each in refused.value.checked.problems] == [(5, "ph")]
    assert visits(cast) == []


def test_it_loads_nothing_when_it_breaks_on_the_way(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    real, calls = submit_visits, iter([False, True])

    def breaking(*values: Any) -> list[Receipt]:
        if next(calls):
            raise RuntimeError("the power went")
        return real(*values)

    monkeypatch.setattr(loading, "AT_ONCE", 1)
    monkeypatch.setattr(loading, "submit_visits", breaking)
    run = kept(cast)
    with pytest.raises(RuntimeError, match="power"):
        imports.load_run(person=cast.person("coordinator"), run=run)
    run.refresh_from_db()
    assert (visits(cast), run.loaded_at) == ([], None)


def test_it_loads_a_run_only_once_for_a_double_click(cast: Cast) -> None:
    run = kept(cast)
    first = imports.load_run(person=cast.person("coordinator"), run=run)
    second = imports.load_run(person=cast.person("coordinator"), run=run)
    assert (first.new, second.new, len(visits(cast))) == (2, 2, 2)
    assert len(history_of(run, cast.group)) == 1


@pytest.mark.parametrize("by", ["coordinator", "second_coordinator"])
def test_it_knows_visits_loaded_before_by_anybody(cast: Cast, by: str) -> None:
    loaded(cast)
    run = kept(cast, *TWO_VISITS, {"date": "2024-07-03"}, by=by)
    checked = imports.check_run(person=cast.person(by), run=run)
    assert (checked.new, checked.already_there) == (1, 2)
    result = imports.load_run(person=cast.person(by), run=run)
    assert (result.new, result.already_there, len(visits(cast))) == (1, 2, 3)


def test_it_leaves_a_visit_loaded_before_as_it_is(cast: Cast) -> None:
    loaded(cast, {"taxon": "Baetidae", "count": "12"})
    loaded(cast, {"taxon": "Baetidae", "count": "99"})
    (visit,) = visits(cast)
    assert visit.counts.get().count == 12


def test_it_removes_the_kept_file_once_it_is_loaded(
    cast: Cast, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    run = kept(cast)
    path = Path(run.file.path)
    with django_capture_on_commit_callbacks(execute=True):
        imports.load_run(person=cast.person("coordinator"), run=run)
        # Until the commit the file is the only copy: a failure must leave it.
        assert path.exists()
    assert not path.exists()


def test_it_forgets_sheets_after_a_week_whoever_they_are_of(cast: Cast) -> None:
    old, new, done = kept(cast), kept(cast, {"date": "2023-01-01"}), loaded(cast)
    mended = kept(cast, {"date": "2022-01-01"}, {"site": "ZZ9"})
    imports.load_run(person=cast.person("coordinator"), run=mended, only_sound=True)
    long_ago = timezone.now() - timedelta(days=keeping.KEPT_DAYS, minutes=1)
    ImportRun.objects.of_group(cast.group).exclude(pk=new.pk).update(created_at=long_ago)
    paths = [Path(run.file.path) for run in (old, mended)]
    assert clear_old_sheets() == 2
    left = set(ImportRun.objects.of_group(cast.group).values_list("pk", flat=True))
    assert left == {new.pk, done.pk, mended.pk}
    assert not any(path.exists() for path in paths)
    assert not ImportRun.objects.of_group(cast.group).get(pk=mended.pk).file


@pytest.mark.parametrize(
    ("who", "refusal"),
    [("volunteer", PermissionDenied), ("neighbour_coordinator", Http404), ("stranger", Http404)],
)
def test_it_lets_only_the_groups_coordinators_load(cast: Cast, who: str, refusal: type[Exception]) -> None:
    run, person = kept(cast), cast.person(who)
    with pytest.raises(refusal):
        imports.keep_sheet(person=person, group=cast.group, file=io.BytesIO(csv_of([{}])), file_name="x.csv")
    with pytest.raises(refusal):
        imports.check_run(person=person, run=run)
    with pytest.raises(refusal):
        imports.load_run(person=person, run=run)
    with pytest.raises(refusal):
        imports.load_sheet(person=person, group=cast.group, sheet=sheet_of({}), file_name="x.csv")
    with pytest.raises(refusal):
        imports.approve_run(person=person, run=run)
    assert visits(cast) == []


def test_it_approves_a_run_for_another_coordinator(cast: Cast) -> None:
    run = loaded(cast)
    done = imports.approve_run(
        person=cast.person("second_coordinator"), run=run, accept_findings_reason="as noted"
    )
    assert (done.approved, done.left) == (2, 0)
    assert {each.status for each in visits(cast)} == {Status.APPROVED}
    assert {each.reviewed_by_id for each in visits(cast)} == {cast.second_coordinator.pk}


def test_it_approves_nothing_for_whoever_loaded_the_sheet(cast: Cast) -> None:
    run = loaded(cast)
    done = imports.approve_run(person=cast.person("coordinator"), run=run, accept_findings_reason="as noted")
    assert (done.approved, done.left) == (0, 2)
    assert {each.status for each in visits(cast)} == {Status.WAITING}


def test_it_leaves_the_visits_that_the_approver_took_part_in(cast: Cast) -> None:
    run = loaded(
        cast,
        {"recorder": "Cole Example"},
        {"date": "2024-06-03", "partner": "Cole Example"},
        {"date": "2024-07-03"},
    )
    done = imports.approve_run(
        person=cast.person("second_coordinator"), run=run, accept_findings_reason="as noted"
    )
    assert (done.approved, done.left) == (1, 2)
    assert [each.status for each in visits(cast)] == [Status.WAITING, Status.WAITING, Status.APPROVED]


def test_it_wants_a_reason_when_something_unusual_is_open(cast: Cast) -> None:
    run = loaded(cast, {"ph": "9.5"}, {"date": "2024-06-03"})
    person = cast.person("second_coordinator")
    assert run_state(person, run).findings >= 1
    with pytest.raises(NotPossible):
        imports.approve_run(person=person, run=run)
    assert {each.status for each in visits(cast)} == {Status.WAITING}
    imports.approve_run(person=person, run=run, accept_findings_reason="limestone spring")
    assert run_state(person, run).findings == 0


def correct(cast: Cast, visit: Visit, notes: str) -> None:
    """The one who loaded it writes something else."""
    submission = parse_submission(submission_data(visit) | {"notes": notes})
    correct_visit(person=cast.person("coordinator"), visit=visit, submission=submission, reason="looked it up")


def test_it_leaves_and_names_what_was_changed_since_it_was_shown(cast: Cast) -> None:
    run = loaded(cast, {}, {"date": "2024-06-03"}, {"date": "2024-07-03"})
    person = cast.person("second_coordinator")
    _untouched, shown_changed, changed_since = visits(cast)
    correct(cast, shown_changed, "Bank was trodden.")
    correct(cast, changed_since, "Bank was trodden.")
    seen = {each.pk: each.revision for each in run_state(person, run).changed}
    assert seen == {shown_changed.pk: 1, changed_since.pk: 1}
    correct(cast, changed_since, "Bank was trodden by cattle.")
    done = imports.approve_run(person=person, run=run, accept_findings_reason="as noted", seen=seen)
    assert (done.approved, done.left, [visit for visit, _why in done.changed]) == (2, 0, [changed_since])
    assert [each.status for each in visits(cast)] == [Status.APPROVED, Status.APPROVED, Status.WAITING]
    # Whoever says nothing of what they saw saw the sheet.
    untold = imports.approve_run(person=person, run=run, accept_findings_reason="as noted")
    assert (untold.approved, [visit for visit, _why in untold.changed]) == (0, [changed_since])


def test_it_tells_where_the_visits_of_a_run_stand(cast: Cast) -> None:
    run = loaded(cast, {"recorder": "Cole Example"}, {"date": "2024-06-03"})
    state = run_state(cast.person("second_coordinator"), run)
    assert (state.waiting, state.approvable, state.approved, state.returned) == (2, 1, 0, 0)
    assert run_state(cast.person("coordinator"), run).approvable == 0
    assert [(each.pk, each.waiting) for each in loaded_runs(cast.group)] == [(run.pk, 2)]  # type: ignore[attr-defined]
    assert list(loaded_runs(cast.neighbour)) == []


def queries_to_load(cast: Cast, number: int, year: int) -> int:
    days = [{"date": f"{year}-{month:02d}-01", "ph": "7.4"} for month in range(1, number + 1)]
    with CaptureQueriesContext(connection) as counted:
        loaded(cast, *days)
    return len(counted)


def test_it_asks_the_database_the_same_for_each_visit_however_many(cast: Cast) -> None:
    few, many = queries_to_load(cast, 2, 2020), queries_to_load(cast, 6, 2021)
    # A visit costs its check, its rows and its audit entry; savepoints count as queries here.
    assert (many - few) / 4 <= 36
    assert queries_to_load(cast, 6, 2022) <= many


def test_it_checks_visits_with_a_few_queries_each(cast: Cast) -> None:
    sheet = sheet_of(*[{"date": f"2024-{month:02d}-01", "ph": "7.4"} for month in range(1, 11)])
    with CaptureQueriesContext(connection) as counted:
        check_sheet(group=cast.group, sheet=sheet)
    assert len(counted) <= 3 + 10 * 5


@pytest.mark.parametrize("name", [".csv", "old.CSV", "a.b.csv", "../x.csv", "\u202e.csv"])
def test_it_reads_again_what_it_kept_whatever_the_file_was_called(cast: Cast, name: str) -> None:
    run = kept(cast, {}, name=name)
    assert str(run.file.name).endswith(f"{run.pk}.csv")
    assert imports.check_run(person=cast.person("coordinator"), run=run).problems == ()
