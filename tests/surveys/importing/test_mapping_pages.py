"""The page that says what a sheet means: asked once, remembered, every name that is not ours asked for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from portal.jobs.models import Job
from portal.jobs.tasks import run_job
from surveys.forms.imports import field_name
from surveys.models import ImportMapping, ImportRun
from tests.conftest import Cast
from tests.surveys.importing.layouts import BY_TAXON, BY_VISIT, SIDE_BY_SIDE, Lines, content_of

pytestmark = pytest.mark.django_db
ODD: Lines = (
    ("Where", "When", "Baetidae", "Beatids", "Colour"),
    ("Stepping stones", "3/5/2024", "12", "1", "brown"),
)


@pytest.fixture(autouse=True)
def _own_media(settings: LazySettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.MEDIA_ROOT = tmp_path
    # A progress told aside goes through another connection, which does not see a test's transaction.
    monkeypatch.setattr("portal.jobs.working.PAUSE", 1e9)


@pytest.fixture
def coordinator(client: Client, cast: Cast) -> Client:
    client.force_login(cast.coordinator)
    return client


def send(client: Client, lines: Lines) -> Any:
    file = SimpleUploadedFile("ours.csv", content_of(lines))
    return client.post("/groups/alder-beck/import/", {"sheet": file})


def do_the_check(client: Client, address: str) -> str:
    """What a worker does; the page then shows what was found."""
    for job in Job.objects.across_groups("a worker takes what there is").filter(state=Job.State.QUEUED):
        run_job(str(job.pk))
    return text(client.get(address))


def run_of(cast: Cast) -> ImportRun:
    return ImportRun.objects.of_group(cast.group).latest("created_at")


def text(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def told(lines: Lines, layout: str, **columns: str) -> dict[str, str]:
    """What the form sends when it is left as it is, but for these columns."""
    guessed = {"Where": "", "When": "", "Baetidae": "taxon_column", "Beatids": "", "Colour": ""} | columns
    return {"layout": layout, "date_order": "dmy", "marks": "x"} | {
        field_name("column", name): target for name, target in guessed.items() if name in lines[0]
    }


def test_a_sheet_of_its_own_making_is_explained_first(coordinator: Client, cast: Cast) -> None:
    answer = send(coordinator, BY_VISIT)
    assert answer["Location"] == reverse("import_map", args=["alder-beck", run_of(cast).pk])
    assert (
        coordinator.get(reverse("import_detail", args=["alder-beck", run_of(cast).pk]))["Location"]
        == answer["Location"]
    )
    shown = text(coordinator.get(answer["Location"]))
    assert "For instance: 3/5/2024, 13/6/2024" in shown
    assert "2 columns named after a taxon" in shown


@pytest.mark.parametrize("lines", [BY_TAXON, BY_VISIT, SIDE_BY_SIDE])
def test_what_was_said_is_remembered_for_the_next_sheet(coordinator: Client, cast: Cast, lines: Lines) -> None:
    page = send(coordinator, lines)["Location"]
    form = coordinator.get(page).context["form"]
    sent = {"layout": form.plan.layout} | {field.html_name: field.value() or "" for field in form}
    answer = coordinator.post(page, sent)
    assert answer["Location"] == reverse("import_detail", args=["alder-beck", run_of(cast).pk])
    assert "2 new visits" in do_the_check(coordinator, answer["Location"])
    again = send(coordinator, lines)
    assert again["Location"] == reverse("import_detail", args=["alder-beck", run_of(cast).pk])
    assert ImportMapping.objects.of_group(cast.group).count() == 1


def test_another_group_remembers_nothing_of_it(coordinator: Client, cast: Cast) -> None:
    mapping = ImportMapping.objects.create(group=cast.neighbour, signature="x", plan={})
    assert list(ImportMapping.objects.of_group(cast.group)) == []
    assert str(mapping) == "x"


def test_names_that_come_with_a_column_are_asked_for(coordinator: Client, cast: Cast) -> None:
    page = send(coordinator, ODD)["Location"]
    columns = {"Where": "site", "When": "date", "Beatids": "taxon_column"}
    sent = told(ODD, "visit_rows", **columns)
    shown = coordinator.post(page, sent)
    assert shown.status_code == 200
    assert "names that the portal does not know" in text(shown)
    assert "Perhaps " in text(shown)
    names = {field_name("site", "Stepping stones"): "AB1", field_name("taxon", "Beatids"): "Elmidae"}
    answer = coordinator.post(page, sent | names)
    assert answer.status_code == 302
    plan = run_of(cast).plan
    assert (plan["sites"], plan["taxa"]) == ({"Stepping stones": "AB1"}, {"Beatids": "Elmidae"})
    checked = do_the_check(coordinator, answer["Location"])
    assert "1 new visit" in checked
    assert "Elmidae&nbsp;1" in checked


def test_a_site_is_known_by_its_name(coordinator: Client, cast: Cast) -> None:
    lines = [("Site", *ODD[0][1:]), *ODD[1:]]
    page = send(coordinator, [(lines[0][0], "Date", *lines[0][2:]), lines[1]])["Location"]
    form = coordinator.get(page).context["form"]
    assert form.plan.sites == {"Stepping stones": "AB1"}


def test_mistakes_stand_at_their_fields_and_nothing_is_lost(coordinator: Client, cast: Cast) -> None:
    page = send(coordinator, ODD)["Location"]
    answer = coordinator.post(page, told(ODD, "visit_rows", When="date", Colour="date"))
    assert answer.status_code == 422
    assert "Say which column holds this: site." in text(answer)
    assert text(answer).count("Another column is said to be this already.") >= 2
    assert run_of(cast).plan == {}
    form = answer.context["form"]
    assert form[field_name("column", "Colour")].value() == "date"


def test_the_layout_can_be_chosen(coordinator: Client, cast: Cast) -> None:
    page = send(coordinator, BY_VISIT)["Location"]
    form = coordinator.get(page, {"layout": "visit_columns"}).context["form"]
    assert form.plan.layout == "visit_columns"
    assert "AB1" in [field.label for field in form.open_columns]
    assert coordinator.get(page, {"layout": "sideways"}).context["form"].plan.layout == "visit_rows"


def test_a_loaded_sheet_is_explained_no_more(coordinator: Client, cast: Cast) -> None:
    page = send(coordinator, BY_VISIT)["Location"]
    run = run_of(cast)
    run.file.delete()
    assert coordinator.get(page).status_code == 302


@pytest.mark.parametrize("junk", ["visit_rows", "<script>", ""])
def test_junk_is_answered_with_words(coordinator: Client, cast: Cast, junk: str) -> None:
    page = send(coordinator, ODD)["Location"]
    answer = coordinator.post(page, {"layout": junk, "date_order": junk, field_name("column", "Where"): junk})
    assert answer.status_code == 422
