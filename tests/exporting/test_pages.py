"""The pages for taking records out, and the terms of archives."""

from __future__ import annotations

import zipfile
from typing import Any

import pytest

from portal.jobs.models import Job
from surveys.exporting import services
from surveys.exporting.models import PublishingTerms
from tests.conftest import Cast
from tests.exporting.archives import approved, as_file, with_terms
from tests.exporting.files import csv_lines
from tests.factories import VisitFactory
from tests.surveys.pages import address, signed_in, text_of

pytestmark = pytest.mark.django_db


def get(cast: Cast, name: str, query: str = "", who: str = "coordinator") -> Any:
    return signed_in(getattr(cast, who)).get(address(name, cast.group) + query)


def post(cast: Cast, name: str, data: dict[str, str], query: str = "", who: str = "coordinator") -> Any:
    return signed_in(getattr(cast, who)).post(address(name, cast.group) + query, data)


def content_of(answer: Any) -> bytes:
    return b"".join(answer.streaming_content)


class TestMaking:
    def test_the_list_leads_to_it_with_its_choice(self, cast: Cast) -> None:
        VisitFactory(site=cast.site, visited_on="2024-05-03")
        page = get(cast, "visit_list", "?year=2024", "volunteer").content.decode()
        assert f'href="{address("export_make", cast.group)}?year=2024"' in page

    def test_it_says_how_many_visits_are_meant(self, cast: Cast) -> None:
        VisitFactory(site=cast.site, visited_on="2024-05-03")
        VisitFactory(site=cast.site, visited_on="2025-05-03")
        assert "All 2 visits" in text_of(get(cast, "export_make"))
        assert "1 visit fits your choice" in text_of(get(cast, "export_make", "?year=2024"))

    def test_it_gives_the_file_of_the_choice_in_its_address(self, cast: Cast) -> None:
        VisitFactory(site=cast.site, visited_on="2024-05-03")
        VisitFactory(site=cast.site, visited_on="2025-05-03")
        answer = post(cast, "export_make", {"content": "visits", "file_kind": "csv"}, "?year=2024", "volunteer")
        assert answer["Content-Type"] == "text/csv; charset=utf-8"
        assert answer["Content-Disposition"].startswith('attachment; filename="alder-beck-visits-')
        assert [line["date"] for line in csv_lines(content_of(answer))] == ["2024-05-03"]

    def test_a_wish_that_cannot_be_read_is_said_at_its_field(self, cast: Cast) -> None:
        answer = post(cast, "export_make", {"content": "all", "file_kind": ""})
        assert answer.status_code == 422
        assert set(answer.context["form"].errors) == {"content", "file_kind"}

    def test_a_large_one_leads_to_the_page_of_its_job(
        self, cast: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(services, "VISITS_AT_ONCE", 0)
        VisitFactory(site=cast.site)
        answer = post(cast, "export_make", {"content": "counts", "file_kind": "xlsx"}, "?status=waiting")
        job = Job.objects.of_group(cast.group).get()
        assert answer["Location"] == address("job_detail", cast.group, job_id=job.pk)
        assert job.parameters == {"content": "counts", "file_kind": "xlsx", "choice": "status=waiting"}
        assert job.total == 1

    def test_it_tells_members_whose_names_they_get(self, cast: Cast) -> None:
        assert "only of members who agreed" in text_of(get(cast, "export_make", who="volunteer"))
        assert "Think of that before" in text_of(get(cast, "export_make"))


class TestArchive:
    def test_members_are_not_offered_one(self, cast: Cast) -> None:
        assert "Darwin Core" not in text_of(get(cast, "export_make", who="volunteer"))

    def test_without_a_licence_the_way_leads_to_the_terms(self, cast: Cast) -> None:
        assert "Choose the licence" in text_of(get(cast, "export_make"))
        answer = post(cast, "archive_make", {})
        assert answer["Location"] == address("publishing_terms", cast.group)

    def test_with_one_it_gives_a_zip_of_what_is_approved(self, cast: Cast) -> None:
        with_terms(cast)
        approved(cast)
        assert "archive of 1 visit" in text_of(get(cast, "export_make"))
        answer = post(cast, "archive_make", {})
        assert answer["Content-Type"] == "application/zip"
        names = zipfile.ZipFile(as_file(content_of(answer))).namelist()
        assert set(names) == {
            "meta.xml",
            "eml.xml",
            "event.txt",
            "occurrence.txt",
            "extendedmeasurementorfact.txt",
        }


class TestTerms:
    def test_they_are_kept(self, cast: Cast) -> None:
        data = {"licence": "CC0-1.0", "attribution": "", "contact_email": "ask@example.org", "blur": "0.01"}
        assert post(cast, "publishing_terms", data)["Location"] == address("export_make", cast.group)
        terms = PublishingTerms.objects.of_group(cast.group).get()
        assert (terms.licence, terms.blur) == ("CC0-1.0", "0.01")

    def test_a_mistake_keeps_what_was_typed(self, cast: Cast) -> None:
        data = {"licence": "CC0-1.0", "attribution": "Friends", "contact_email": "nobody", "blur": ""}
        answer = post(cast, "publishing_terms", data)
        assert answer.status_code == 422
        assert 'value="Friends"' in answer.content.decode()
        assert not PublishingTerms.objects.of_group(cast.group).exists()

    def test_taking_the_licence_away_again_is_possible(self, cast: Cast) -> None:
        with_terms(cast)
        post(cast, "publishing_terms", {"licence": "", "blur": ""})
        assert "Choose the licence" in text_of(get(cast, "export_make"))
