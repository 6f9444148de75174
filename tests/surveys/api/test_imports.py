"""A sheet of past visits sent, explained, checked, loaded and undone by program."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from portal.jobs.models import Job
from portal.jobs.working import work_off
from portal.tokens.models import Scope
from portal.tokens.services import make_key
from surveys.models import ImportRun, Visit
from tests.conftest import Cast
from tests.surveys.api.conftest import ClientOf, address
from tests.surveys.importing.layouts import BY_VISIT, content_of
from tests.surveys.importing.sheets import csv_of

COLUMNS = {
    "Station": "site",
    "Date": "date",
    "Temp": "temperature_c",
    "Baetidae": "taxon_column",
    "Elmidae": "taxon_column",
}
PLAN = {"layout": "visit_rows", "columns": COLUMNS}


@pytest.fixture(autouse=True)
def _own_media(settings: LazySettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.MEDIA_ROOT = tmp_path
    monkeypatch.setattr("portal.jobs.working.PAUSE", 1e9)


@pytest.fixture
def client(cast: Cast) -> APIClient:
    """A program with a key of the coordinator's for imports alone."""
    key = make_key(
        person=cast.person("coordinator"), name="Loader", scopes=[Scope.IMPORT], days=1, with_second_factor=True
    )
    found = APIClient()
    found.credentials(HTTP_AUTHORIZATION=f"Bearer {key.text}")
    return found


def send(client: APIClient, content: bytes, key: str = "") -> Any:
    file = SimpleUploadedFile("old.csv", content)
    headers = {"Idempotency-Key": key} if key else {}
    return client.post(address("imports"), {"sheet": file}, format="multipart", headers=headers)


def work(cast: Cast) -> None:
    for job in Job.objects.of_group(cast.group).filter(state=Job.State.QUEUED):
        work_off(job.pk)


def state(client: APIClient, number: str) -> dict[str, Any]:
    found: dict[str, Any] = client.get(address("imports", number)).json()
    return found


def test_a_sheet_goes_all_the_way(cast: Cast, client: APIClient) -> None:
    sent = send(client, csv_of([{}, {"date": "2024-06-03"}, {"date": "2024-07-03", "count": "some"}]))
    assert (sent.status_code, sent.json()["is_explained"]) == (201, True)
    number = sent.json()["id"]
    work(cast)
    report = state(client, number)["report"]
    assert (report["new"], report["problem_count"]) == (2, 1)
    assert (report["problems"][0]["cell"], report["problems"][0]["value"]) == ("D4", "some")
    assert client.get(address("imports", number, "errors")).status_code == 200
    ordered = client.post(address("imports", number, "load"), {"only_sound": True}, format="json")
    assert ordered.status_code == 202
    work(cast)
    assert client.get(ordered["Location"]).json()["summary"] == "2 visits were loaded."
    assert (state(client, number)["visits_loaded"], state(client, number)["left_out"]) == (2, 1)
    undone = client.post(address("imports", number, "undo"), {"reason": "Wrong site."}, format="json")
    assert undone.status_code == 202
    work(cast)
    assert state(client, number)["undone_reason"] == "Wrong site."
    assert not Visit.objects.of_group(cast.group).exists()


def test_a_sheet_of_its_own_making_is_explained_first(cast: Cast, client: APIClient) -> None:
    number = send(client, content_of(BY_VISIT)).json()["id"]
    refused = client.post(address("imports", number, "load"), {}, format="json")
    assert (refused.status_code, refused.json()["problems"][0]["rule"]) == (409, "not_possible")
    assert client.get(address("imports", number, "plan")).json()["layout"] == "visit_rows"
    assert client.post(address("imports", number, "plan"), PLAN, format="json").status_code == 202
    work(cast)
    assert state(client, number)["report"]["new"] == 2
    again = send(client, content_of(BY_VISIT)).json()
    assert again["is_explained"]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"columns": {"Station": "site"}}, "date, taxon_column"),
        ({"columns": COLUMNS | {"Sampler": "date"}}, "date"),
        ({"columns": {"Station": "nonsense"}}, "nonsense"),
    ],
)
def test_a_plan_that_lacks_something_is_refused_at_its_field(
    cast: Cast, client: APIClient, changes: dict[str, Any], says: str
) -> None:
    number = send(client, content_of(BY_VISIT)).json()["id"]
    answer = client.post(address("imports", number, "plan"), PLAN | changes, format="json")
    (problem,) = answer.json()["problems"]
    assert (answer.status_code, problem["field"]) == (422, "columns")
    assert says in problem["message"]
    assert ImportRun.objects.of_group(cast.group).get().plan == {}


def test_a_file_that_is_no_sheet_is_said_at_its_field(cast: Cast, client: APIClient) -> None:
    answer = send(client, b"hello")
    assert (answer.status_code, answer.json()["problems"][0]["field"]) == (422, "sheet")


def test_another_file_under_the_same_key_is_refused(cast: Cast, client: APIClient) -> None:
    first = send(client, csv_of([{}]), key="one")
    again = send(client, csv_of([{}]), key="one")
    assert (again.status_code, again.json()["id"]) == (201, first.json()["id"])
    other = send(client, csv_of([{"date": "2024-06-03"}]), key="one")
    assert other.json()["problems"][0]["rule"] == "key_reused"
    assert ImportRun.objects.of_group(cast.group).count() == 1


def test_a_key_for_something_else_is_refused(cast: Cast) -> None:
    key = make_key(
        person=cast.person("coordinator"),
        name="Reader",
        scopes=[Scope.READ_VISITS],
        days=1,
        with_second_factor=True,
    )
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {key.text}")
    answer = client.get(address("imports"))
    assert (answer.status_code, answer.json()["problems"][0]["rule"]) == (403, "scope_missing")


def test_a_loaded_sheet_is_loaded_no_second_time(cast: Cast, client_of: ClientOf) -> None:
    client = client_of("coordinator")
    number = send(client, csv_of([{}])).json()["id"]
    client.post(address("imports", number, "load"), {}, format="json")
    work(cast)
    assert client.post(address("imports", number, "load"), {}, format="json").status_code == 409
    assert io.BytesIO(client.get(address("imports")).content).read().count(b"old.csv") == 1
