"""The pages of the spreadsheets, by their answers; tests/browser looks at them."""

from __future__ import annotations

import io
import re
from datetime import date
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.conf import LazySettings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import Workbook

from portal.accounts.models import Membership
from portal.jobs.models import Job
from portal.jobs.tasks import run_job
from surveys.importing import read_sheet, reports
from surveys.models import ImportRun, Visit
from surveys.services.visits import correct_visit
from surveys.submission import parse_submission, submission_data
from tests.conftest import Cast
from tests.factories import UserFactory
from tests.surveys.importing.sheets import csv_of

PAGE = "/groups/alder-beck/import/"


@pytest.fixture(autouse=True)
def _own_media(settings: LazySettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.MEDIA_ROOT = tmp_path
    # A progress told aside goes through another connection, which does not see a test's transaction.
    monkeypatch.setattr("portal.jobs.working.PAUSE", 1e9)


def client_of(cast: Cast, who: str = "coordinator") -> Client:
    client = Client()
    client.force_login(getattr(cast, who))
    return client


def send(client: Client, *rows: dict[str, str], content: bytes | None = None, name: str = "old.csv") -> Any:
    """Send a sheet and let a worker do the check that it orders."""
    file = SimpleUploadedFile(name, csv_of(rows or [{}]) if content is None else content)
    answer = client.post(PAGE, {"sheet": file})
    do_the_work()
    return answer


def do_the_work() -> None:
    jobs = Job.objects.across_groups("a worker takes what there is").filter(state=Job.State.QUEUED)
    for job in jobs:
        run_job(str(job.pk))


def load(client: Client, cast: Cast) -> Any:
    """Press the button, let a worker do the job, and look at its page."""
    answer = client.post(page_of(cast, "import_load"))
    assert answer.status_code == 302
    do_the_work()
    return client.get(answer["Location"])


def run_of(cast: Cast) -> ImportRun:
    return ImportRun.objects.of_group(cast.group).latest("created_at")


def page_of(cast: Cast, name: str = "import_detail") -> str:
    return reverse(name, args=["alder-beck", run_of(cast).pk])


def visits(cast: Cast) -> int:
    return Visit.objects.of_group(cast.group).count()


def text(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def test_it_shows_the_columns_and_offers_a_template(cast: Cast) -> None:
    client = client_of(cast)
    shown = text(client.get(PAGE))
    assert "conductivity_us_cm" in shown
    assert "too_high, no_access" in shown
    template = client.get(PAGE + "template.csv")
    assert template["Content-Disposition"] == 'attachment; filename="visits-template.csv"'
    assert len(read_sheet(io.BytesIO(template.content), "template.csv").rows) == 2


def test_it_goes_from_the_upload_to_the_check_and_loads_nothing_yet(cast: Cast) -> None:
    client = client_of(cast)
    answer = send(client, {}, {"date": "2024-06-03"})
    assert (answer.status_code, answer["Location"]) == (302, page_of(cast))
    shown = text(client.get(answer["Location"]))
    assert "2 rows make 2 new visits" in shown
    assert "Load 2 visits" in shown
    assert visits(cast) == 0


def test_a_sheet_that_was_not_loaded_is_found_again(cast: Cast) -> None:
    client = client_of(cast)
    send(client, {}, name="to do.csv")
    assert "Sheets not loaded yet" in text(client.get(PAGE))
    assert page_of(cast) in text(client.get(PAGE))
    load(client, cast)
    assert "Sheets not loaded yet" not in text(client.get(PAGE))


def test_it_lists_the_problems_and_offers_no_loading(cast: Cast) -> None:
    client = client_of(cast)
    send(client, {"site": "ZZ9"}, {"count": "some"})
    shown = text(client.get(page_of(cast)))
    assert "2 problems stand in the way" in shown
    assert shown.index("Row&nbsp;2") < shown.index("Row&nbsp;3")
    assert page_of(cast, "import_load") not in shown


def test_it_lists_only_so_many_problems(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reports, "PROBLEMS_SHOWN", 2)
    client = client_of(cast)
    send(client, {"site": "Z1"}, {"site": "Z2"}, {"site": "Z3"})
    shown = text(client.get(page_of(cast)))
    assert "Only the first 2 are listed" in shown
    assert "Row&nbsp;4" not in shown


def test_it_writes_what_a_sheet_says_as_text_only(cast: Cast) -> None:
    client = client_of(cast)
    send(client, {"site": "<script>alert(1)</script>"})
    shown = text(client.get(page_of(cast)))
    assert "<script>alert" not in shown
    assert "&lt;script&gt;alert" in shown


@pytest.mark.parametrize(
    ("content", "name", "says"),
    [
        (b"hello", "old.csv", "a header but no rows"),
        (b"", "old.csv", "The file is empty."),
        (b"x", "old.xlsx", "cannot be read as XLSX"),
    ],
)
def test_it_says_at_the_field_why_a_file_cannot_be_used(
    cast: Cast, content: bytes, name: str, says: str
) -> None:
    answer = send(client_of(cast), content=content, name=name)
    assert answer.status_code == 422
    assert says in text(answer)
    assert 'id="id_sheet_error"' in text(answer)
    assert not ImportRun.objects.of_group(cast.group).exists()


def test_it_loads_what_was_checked(cast: Cast) -> None:
    client = client_of(cast)
    send(client, {}, {"date": "2024-06-03"})
    answer = load(client, cast)
    assert "2 visits were loaded." in text(answer)
    assert page_of(cast) in text(answer)
    assert visits(cast) == 2
    assert "old.csv" in text(client.get(PAGE))
    assert "2 still to be checked" in text(client.get(PAGE))


def test_it_loads_a_workbook(cast: Cast) -> None:
    client = client_of(cast)
    book = Workbook()
    assert book.active is not None
    book.active.append(["Site", "Date", "Taxon", "Count"])
    book.active.append(["AB1", date(2024, 5, 3), "Baetis rhodani", 12])
    out = io.BytesIO()
    book.save(out)
    send(client, content=out.getvalue(), name="Old visits.XLSX")
    load(client, cast)
    visit = Visit.objects.of_group(cast.group).get()
    assert visit.visited_on == date(2024, 5, 3)
    assert [(each.taxon, each.recorded_as, each.count) for each in visit.counts.all()] == [
        ("Baetidae", "Baetis rhodani", 12)
    ]


def test_it_says_when_everything_is_there_already(cast: Cast) -> None:
    client = client_of(cast)
    send(client)
    load(client, cast)
    again = send(client)
    shown = text(client.get(again["Location"]))
    assert "in the portal already" in shown
    assert "Load 1 visit" not in shown


def test_it_shows_the_problems_when_the_group_changed_since_the_check(cast: Cast) -> None:
    client = client_of(cast)
    send(client)
    cast.site.code = "AB9"
    cast.site.save()
    assert "The group has no site “AB1”" in text(load(client, cast))
    assert visits(cast) == 0


def test_it_has_a_run_approved_by_another_coordinator(cast: Cast) -> None:
    loader, approver = client_of(cast), client_of(cast, "second_coordinator")
    send(loader, {"recorder": "Cole Example"}, {"date": "2024-06-03"})
    load(loader, cast)
    assert page_of(cast, "import_approve") not in text(loader.get(page_of(cast)))
    answer = approver.post(page_of(cast, "import_approve"), {"accept_findings_reason": "as noted"}, follow=True)
    assert "1 visit was approved." in text(answer)
    assert "1 visit still waits: you took part in it." in text(answer)


def test_what_changed_since_the_page_was_shown_is_left_and_named(cast: Cast) -> None:
    loader, approver = client_of(cast), client_of(cast, "second_coordinator")
    send(loader, {"ph": "9.5"}, {"date": "2024-06-03"})
    load(loader, cast)
    shown = marks_of(approver.get(page_of(cast)))
    change(cast)
    # Refused for want of a reason, the page shows no visit anew: its marks stay those of the first.
    refused = approver.post(page_of(cast, "import_approve"), {"visit": shown})
    assert (refused.status_code, marks_of(refused)) == (422, shown)
    told = {"visit": shown, "accept_findings_reason": "as noted"}
    answer = approver.post(page_of(cast, "import_approve"), told, follow=True)
    assert "1 visit was approved." in text(answer)
    name = f"{cast.site}, 3 June 2024"
    assert f"Not approved: {name}: This visit was changed since you opened this page. Look" in text(answer)
    told["visit"] = marks_of(answer)
    answer = approver.post(page_of(cast, "import_approve"), told, follow=True)
    assert "1 visit was approved." in text(answer)


def marks_of(page: Any) -> list[str]:
    """What the form of approving says of the visits that it was shown with."""
    return re.findall(r'name="visit" value="([^"]+)"', page.content.decode())


def change(cast: Cast) -> None:
    """The one who loaded the sheet writes something else into its last visit."""
    visit = Visit.objects.of_group(cast.group).latest("visited_on")
    submission = parse_submission(submission_data(visit) | {"notes": "Bank was trodden."})
    correct_visit(person=cast.person("coordinator"), visit=visit, submission=submission, reason="asked again")


def test_a_guest_reviewer_finds_a_loaded_sheet_and_approves_it(cast: Cast) -> None:
    guest = UserFactory(name="Gus Guest")
    Membership.objects.create(group=cast.group, user=guest, role="reviewer")
    client = Client()
    client.force_login(guest)
    loader = client_of(cast)
    send(loader)
    # What is not loaded yet is no business of a guest's.
    assert client.get(page_of(cast)).status_code == 403
    load(loader, cast)
    assert page_of(cast) in text(client.get(reverse("review_queue", args=["alder-beck"])))
    shown = text(client.get(page_of(cast)))
    assert "Approve 1 visit" in shown
    assert "Undo the import" not in shown
    assert "Load another sheet" not in shown
    client.post(page_of(cast, "import_approve"), {"accept_findings_reason": "as noted"})
    assert Visit.objects.of_group(cast.group).get().status == "approved"
    assert client.post(page_of(cast, "import_undo"), {"reason": "no"}).status_code == 403


def test_a_guest_approves_no_visit_they_recorded(cast: Cast) -> None:
    guest = UserFactory(name="Gus Guest")
    Membership.objects.create(group=cast.group, user=guest, role="reviewer")
    loader, client = client_of(cast), Client()
    client.force_login(guest)
    send(loader, {"recorder": "Gus Guest"})
    load(loader, cast)
    client.post(page_of(cast, "import_approve"), {"accept_findings_reason": "as noted"})
    assert Visit.objects.of_group(cast.group).get().status == "waiting"


def test_it_asks_for_the_reason_at_its_field(cast: Cast) -> None:
    client = client_of(cast)
    send(client, {"ph": "9.5"})
    load(client, cast)
    answer = client_of(cast, "second_coordinator").post(page_of(cast, "import_approve"))
    assert answer.status_code == 422
    assert 'id="accept_findings_reason_error"' in text(answer)


@pytest.mark.parametrize(
    ("who", "status"), [("volunteer", 403), ("neighbour_coordinator", 404), ("stranger", 404)]
)
@pytest.mark.parametrize("name", ["import_detail", "import_load", "import_approve"])
def test_it_is_only_for_the_groups_coordinators(cast: Cast, who: str, status: int, name: str) -> None:
    send(client_of(cast))
    client = client_of(cast, who)
    method = client.get if name == "import_detail" else client.post
    assert method(page_of(cast, name)).status_code == status
    assert client.get(PAGE).status_code == status
    assert client.get(PAGE + "template.csv").status_code == status
    assert visits(cast) == 0


def test_it_shows_a_loaded_sheet_to_no_volunteer(cast: Cast) -> None:
    client = client_of(cast)
    send(client)
    load(client, cast)
    assert client.get(page_of(cast)).status_code == 200
    assert client_of(cast, "volunteer").get(page_of(cast)).status_code == 403


def test_it_shows_a_run_only_under_its_own_group(cast: Cast) -> None:
    send(client_of(cast))
    elsewhere = reverse("import_detail", args=["withy-brook", run_of(cast).pk])
    assert client_of(cast, "neighbour_coordinator").get(elsewhere).status_code == 404
    unknown = reverse("import_detail", args=["alder-beck", uuid4()])
    assert client_of(cast).get(unknown).status_code == 404


def test_it_sends_nobody_to_sign_in(cast: Cast) -> None:
    assert Client().get(PAGE).status_code == 302


def test_it_asks_the_database_as_often_for_many_sheets_as_for_few(cast: Cast) -> None:
    client = client_of(cast)

    def queries(sheets: int) -> int:
        for _each in range(sheets):
            ImportRun.objects.create(
                group=cast.group, started_by=cast.coordinator, file_name="x.csv", loaded_at="2024-01-01T00:00Z"
            )
        with CaptureQueriesContext(connection) as counted:
            client.get(PAGE)
        return len(counted)

    few = queries(1)
    assert queries(10) == few <= 8
