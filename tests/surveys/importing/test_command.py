"""`manage.py import_visits`: what it prints, how it ends, what it loads."""

from __future__ import annotations

import io
from io import StringIO
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.management import CommandError, call_command

from portal.accounts.models import Membership
from surveys.importing.plans import Plan
from surveys.models import ImportRun, Visit
from surveys.services import imports
from tests.conftest import Cast
from tests.surveys.importing.layouts import BY_VISIT, Lines, content_of
from tests.surveys.importing.sheets import csv_of

ODD: Lines = (
    ("Where", "When", "Baetidae", "Beatids"),
    ("Stepping stones", "3/5/2024", "12", "1"),
    ("Stepping stones", "13/6/2024", "2", ""),
)


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
    again = run(sheet, "--by", "cole@example.org")
    assert "0 new visits, 2 loaded before" in again
    assert again.endswith("Nothing is new, so nothing was loaded.\n")
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
        ("empty.csv", b"", "The first row is empty"),
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


class TestSheetsOfOtherMaking:
    """The command reads them as the page was told, or as it is told itself."""

    @pytest.fixture
    def ours(self, tmp_path: Path) -> Path:
        path = tmp_path / "our years.csv"
        path.write_bytes(content_of(ODD))
        return path

    def explain(self, cast: Cast, settings: LazySettings, tmp_path: Path, lines: Lines = ODD) -> None:
        """What a coordinator did on the page with last year's sheet."""
        settings.MEDIA_ROOT = tmp_path
        person, file = cast.person("coordinator"), io.BytesIO(content_of(lines))
        run = imports.keep_sheet(person=person, group=cast.group, file=file, file_name="last year.csv")
        columns = dict(zip(lines[0], ("site", "date", "taxon_column", "taxon_column"), strict=True))
        plan = Plan("visit_rows", columns, taxa={"Beatids": "Elmidae"}, sites={"Stepping stones": "AB1"})
        imports.map_columns(person=person, run=run, raw=imports.raw_of(run), plan=plan)

    def test_a_header_that_was_explained_is_read_in_that_way(
        self, cast: Cast, ours: Path, settings: LazySettings, tmp_path: Path
    ) -> None:
        assert "missing" in refusal(ours)[0]
        self.explain(cast, settings, tmp_path)
        assert "Loaded 2 visits" in run(ours)
        assert {count.taxon for visit in visits(cast) for count in visit.counts.all()} == {
            "Baetidae",
            "Elmidae",
        }

    def test_a_mapping_is_named_for_a_sheet_with_fewer_columns(
        self, cast: Cast, settings: LazySettings, tmp_path: Path
    ) -> None:
        self.explain(cast, settings, tmp_path)
        path = tmp_path / "short.csv"
        path.write_bytes(content_of([line[:3] for line in ODD]))
        assert "2 new visits" in run(path, "--mapping", "Last Year.csv", "--dry-run")
        message, code, _printed = refusal(path, "--mapping", "other")
        assert code == 2
        assert "it has: “last year.csv”" in message

    def test_a_mapping_that_does_not_fit_is_refused_in_words(
        self, cast: Cast, settings: LazySettings, tmp_path: Path
    ) -> None:
        self.explain(cast, settings, tmp_path)
        path = tmp_path / "alien.csv"
        path.write_bytes(content_of([("Who", "What"), ("a", "b")]))
        message, code, _printed = refusal(path, "--mapping", "last year.csv")
        assert code == 2
        assert "which columns hold site, date" in message

    def test_a_layout_is_named_and_every_problem_stands_at_its_cell(self, cast: Cast, tmp_path: Path) -> None:
        path = tmp_path / "wide.csv"
        path.write_bytes(content_of([*BY_VISIT[:2], ("ZZ9", "13/6/2024", "", "14", "lots", "", "")]))
        _message, code, printed = refusal(path, "--layout", "visit_rows")
        assert code == 1
        assert "row 3, Station (A3: “ZZ9”): The group has no site" in printed

    def test_what_is_here_and_differs_is_named(self, cast: Cast, sheet: Path) -> None:
        run(sheet)
        sheet.write_bytes(csv_of([{"count": "13"}, {"taxon": "Elmidae"}, {"date": "2024-06-03"}]))
        printed = run(sheet)
        assert "0 new visits, 2 loaded before" in printed
        assert "Here already but different: AB1 on 2024-05-03 (Baetidae)" in printed
