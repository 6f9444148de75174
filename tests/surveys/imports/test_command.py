"""`manage.py import_visits`: what it prints, how it ends, what it loads."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from portal.accounts.models import Membership
from surveys.models import ImportRun, Visit
from tests.conftest import Cast
from tests.surveys.imports.sheets import csv_of


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "old.csv"
    path.write_bytes(csv_of([{}, {"taxon": "Elmidae"}, {"date": "2024-06-03"}]))
    return path


def run(path: Path, *options: str, group: str = "alder-beck") -> str:
    out = StringIO()
    call_command("import_visits", str(path), "--group", group, *options, stdout=out)
    return out.getvalue()


def refusal(path: Path, *options: str, group: str = "alder-beck") -> tuple[str, int, str]:
    out = StringIO()
    with pytest.raises(CommandError) as refused:
        call_command("import_visits", str(path), "--group", group, *options, stdout=out)
    return str(refused.value), refused.value.returncode, out.getvalue()


def visits(cast: Cast) -> list[Visit]:
    return list(Visit.objects.of_group(cast.group))


def test_it_loads_a_sheet_and_says_so(cast: Cast, sheet: Path) -> None:
    printed = run(sheet)
    assert "3 rows, 2 new visits, 0 loaded before" in printed
    assert "Loaded 2 visits for Cora Example" in printed
    assert {each.entered_by_id for each in visits(cast)} == {cast.coordinator.pk}
    assert ImportRun.objects.of_group(cast.group).get().file_name == "old.csv"


def test_it_only_checks_in_a_dry_run(cast: Cast, sheet: Path) -> None:
    printed = run(sheet, "--dry-run")
    assert "2 new visits" in printed
    assert "Loaded" not in printed
    assert (visits(cast), ImportRun.objects.of_group(cast.group).count()) == ([], 0)


def test_it_loads_in_the_name_of_the_coordinator_it_is_told(cast: Cast, sheet: Path) -> None:
    assert "Cole Example" in run(sheet, "--by", "COLE@example.org")
    assert {each.entered_by_id for each in visits(cast)} == {cast.second_coordinator.pk}


def test_it_doubles_nothing_when_run_twice(cast: Cast, sheet: Path) -> None:
    run(sheet)
    assert "0 new visits, 2 loaded before" in run(sheet, "--by", "cole@example.org")
    assert len(visits(cast)) == 2


@pytest.mark.parametrize("options", [[], ["--dry-run"]])
def test_it_prints_every_problem_and_loads_nothing(cast: Cast, tmp_path: Path, options: list[str]) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(csv_of([{}, {"site": "ZZ9"}, {"date": "2024-06-03", "count": "some"}]))
    message, code, printed = refusal(path, *options)
    assert code == 1
    assert "2 problems in 3 rows: nothing was loaded." in message
    first, second = printed.splitlines()
    assert first.startswith("row 3, site: The group has no site “ZZ9”")
    assert second.startswith("row 4, count: Write a whole number")
    assert visits(cast) == []


def test_it_says_when_a_problem_concerns_a_whole_row(cast: Cast, tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(csv_of([{"taxon": "", "count": ""}]))
    assert refusal(path)[2].startswith("row 2: Nothing is counted")


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("missing.csv", None, "cannot be opened"),
        ("empty.csv", b"", "missing: site, date, taxon, count"),
        ("visits.ods", b"x", "CSV or XLSX"),
        ("visits.xlsx", b"x", "XLSX"),
    ],
)
def test_it_ends_with_2_for_a_file_it_cannot_use(
    cast: Cast, tmp_path: Path, name: str, content: bytes | None, says: str
) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    message, code, _printed = refusal(path)
    assert code == 2
    assert says in message
    assert name in message


def test_it_ends_with_2_for_a_group_there_is_not(cast: Cast, sheet: Path) -> None:
    message, code, _printed = refusal(sheet, group="no-such-group")
    assert (code, "no-such-group" in message) == (2, True)


@pytest.mark.parametrize("email", ["vera@example.org", "nora@example.org", "who@example.org"])
def test_it_ends_with_2_for_somebody_who_does_not_coordinate_the_group(
    cast: Cast, sheet: Path, email: str
) -> None:
    message, code, _printed = refusal(sheet, "--by", email)
    assert (code, email in message) == (2, True)
    assert visits(cast) == []


def test_it_ends_with_2_for_a_group_without_coordinators(cast: Cast, sheet: Path) -> None:
    Membership.objects.of_group(cast.group).update(role="volunteer")
    message, code, _printed = refusal(sheet)
    assert (code, "no coordinator" in message) == (2, True)
