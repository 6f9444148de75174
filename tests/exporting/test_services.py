"""Who may take what, what the audit trail keeps of it, and large exports as jobs."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404

from portal.audit.models import AuditEntry
from portal.jobs.models import Job
from portal.jobs.working import work_off
from surveys.errors import NotPossible
from surveys.exporting import services
from surveys.exporting.models import Licence, PublishingTerms
from surveys.exporting.services import Wish, make_export, request_export, set_terms
from tests.conftest import Cast
from tests.exporting.archives import approved, with_terms
from tests.exporting.files import csv_lines, exported
from tests.factories import VisitFactory

pytestmark = pytest.mark.django_db


def taken(cast: Cast) -> list[dict[str, Any]]:
    return [each.changes for each in AuditEntry.objects.of_group(cast.group).filter(verb="export.made")]


class TestRights:
    @pytest.mark.parametrize("who", ["volunteer", "other_volunteer", "coordinator"])
    def test_every_member_may_take_what_they_see(self, cast: Cast, who: str) -> None:
        VisitFactory(site=cast.site)
        assert len(csv_lines(exported(cast, "visits", who=who))) == 1

    @pytest.mark.parametrize("who", ["neighbour_coordinator", "stranger"])
    def test_nobody_else_may(self, cast: Cast, who: str) -> None:
        with pytest.raises(Http404):
            exported(cast, "visits", who=who)
        assert taken(cast) == []

    def test_an_archive_is_for_coordinators(self, cast: Cast) -> None:
        with_terms(cast)
        with pytest.raises(PermissionDenied):
            exported(cast, "darwin_core", who="volunteer")

    def test_no_archive_is_made_without_a_licence(self, cast: Cast) -> None:
        with pytest.raises(NotPossible, match="licence"):
            exported(cast, "darwin_core")
        assert taken(cast) == []


class TestTrail:
    def test_it_keeps_who_took_what_and_how_many_rows(self, cast: Cast) -> None:
        VisitFactory(site=cast.site, visited_on="2024-05-03")
        VisitFactory(site=cast.site, visited_on="2025-05-03")
        exported(cast, "visits", "geojson", choice="year=2024", who="volunteer")
        (entry,) = AuditEntry.objects.of_group(cast.group).filter(verb="export.made")
        assert entry.actor_id == cast.volunteer.pk
        told = {
            "content": ["", "visits"],
            "file_kind": ["", "geojson"],
            "choice": ["", "year=2024"],
            "rows": [0, 1],
        }
        assert entry.changes == told

    def test_an_archive_counts_its_events(self, cast: Cast) -> None:
        with_terms(cast)
        approved(cast)
        exported(cast, "darwin_core")
        assert taken(cast)[0]["rows"] == [0, 1]

    def test_changed_terms_are_kept_with_what_they_were(self, cast: Cast) -> None:
        with_terms(cast)
        terms = PublishingTerms.objects.of_group(cast.group).get()
        terms.licence = Licence.CC0
        set_terms(person=cast.person("coordinator"), group=cast.group, terms=terms)
        (entry,) = AuditEntry.objects.of_group(cast.group).filter(verb="publishing_terms.changed")
        assert entry.changes == {"licence": ["CC-BY-4.0", "CC0-1.0"]}


class TestSize:
    def test_only_many_visits_are_too_many_for_a_page(self) -> None:
        most = services.VISITS_AT_ONCE
        assert not services.is_large(most, Wish("visits"))
        assert services.is_large(most + 1, Wish("visits"))
        assert not services.is_large(most + 1, Wish("sites"))

    def test_an_archive_is_as_large_as_what_is_approved(self, cast: Cast) -> None:
        with_terms(cast)
        approved(cast)
        VisitFactory(site=cast.site)
        assert services.visits_meant(cast.group, Wish("darwin_core")) == 1
        assert services.visits_meant(cast.group, Wish("counts")) == 2

    @pytest.mark.parametrize("number", [2, 12])
    def test_reading_takes_as_many_queries_for_many_visits_as_for_few(
        self, cast: Cast, number: int, django_assert_max_num_queries: Any
    ) -> None:
        with_terms(cast)
        for day in range(number):
            approved(cast, visited_on=f"2024-05-{day + 1:02d}")
        with django_assert_max_num_queries(20):
            exported(cast, "visits")
        with django_assert_max_num_queries(20):
            exported(cast, "darwin_core")


class TestJobs:
    def ordered(self, cast: Cast, wish: Wish, who: str = "coordinator") -> Job:
        return request_export(person=cast.person(who), group=cast.group, wish=wish)

    def test_a_job_makes_the_same_file(self, cast: Cast, media: None) -> None:
        VisitFactory(site=cast.site, visited_on="2024-05-03")
        job = self.ordered(cast, Wish("visits", "csv", "year=2024"))
        work_off(job.pk)
        job.refresh_from_db()
        assert (job.state, job.summary) == ("done", "1 row is in the file.")
        with job.file.open("rb") as file:
            assert file.read() == exported(cast, "visits", choice="year=2024")
        assert job.file_name.startswith("alder-beck-visits-")

    def test_it_is_made_with_the_rights_of_the_day_it_runs(self, cast: Cast, media: None) -> None:
        job = self.ordered(cast, Wish("visits", "csv"), "volunteer")
        cast.volunteer.memberships.across_groups("test").delete()
        work_off(job.pk)
        job.refresh_from_db()
        assert job.state == "failed"
        assert not job.file

    def test_an_archive_without_a_licence_is_not_even_ordered(self, cast: Cast) -> None:
        with pytest.raises(NotPossible):
            self.ordered(cast, Wish("darwin_core"))
        assert not Job.objects.of_group(cast.group).exists()

    def test_a_licence_withdrawn_meanwhile_is_told_in_words(self, cast: Cast, media: None) -> None:
        terms = with_terms(cast)
        job = self.ordered(cast, Wish("darwin_core"))
        terms.delete()
        work_off(job.pk)
        job.refresh_from_db()
        assert "licence" in job.problem

    def test_a_job_that_is_stopped_leaves_no_file(self, cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
        VisitFactory(site=cast.site)
        job = self.ordered(cast, Wish("visits", "csv"))

        def stop(*_args: Any, **_more: Any) -> None:
            raise services_stopped()

        monkeypatch.setattr("portal.jobs.working.Progress.aside", stop)
        work_off(job.pk)
        job.refresh_from_db()
        assert not job.file
        assert taken(cast) == []


def services_stopped() -> Exception:
    from portal.jobs.kinds import Stopped

    return Stopped()


def test_a_file_is_whole_before_it_is_given(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    VisitFactory(site=cast.site)
    monkeypatch.setattr("surveys.exporting.visited._closing", lambda _visit: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        make_export(person=cast.person("coordinator"), group=cast.group, wish=Wish("visits", "csv"))
    assert taken(cast) == []
