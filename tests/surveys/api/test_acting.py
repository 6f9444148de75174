"""What a person can do in the portal, done by a program: sites, review, exports; once under one key."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from portal.jobs.models import Job
from portal.jobs.working import work_off
from portal.tokens.models import KeptAnswer
from surveys.forms.sites import SiteForm
from surveys.models import Site, Visit
from surveys.services.visits import mend_visit
from surveys.submission import submission_data
from tests.conftest import Cast
from tests.factories import VisitFactory, family_list, submission_for, submit
from tests.surveys.api.conftest import ClientOf, address


def site_data(**changes: Any) -> dict[str, Any]:
    usual = {"code": "NEW1", "name": "Mill", "river": "Alder Beck", "latitude": 54.6, "longitude": -2.4}
    return usual | {"recording_list": str(family_list().pk)} | changes


def posted(client: APIClient, *parts: Any, data: Any = None, key: str = "") -> Any:
    headers = {"Idempotency-Key": key} if key else {}
    return client.post(address(*map(str, parts)), data or {}, format="json", headers=headers)


def fields_of(answer: Any) -> list[str]:
    assert answer["Content-Type"] == "application/problem+json"
    return [each["field"] for each in answer.json()["problems"]]


class TestSites:
    def test_a_coordinator_adds_and_changes_one(self, cast: Cast, client_of: ClientOf) -> None:
        client = client_of("coordinator")
        made = posted(client, "sites", data=site_data())
        assert made.status_code == 201
        changed = client.patch(address("sites", made.json()["id"]), {"name": "Old mill"}, format="json")
        assert (changed.json()["name"], changed.json()["code"]) == ("Old mill", "NEW1")

    def test_a_place_that_was_typed_does_not_outlive_a_move(self, cast: Cast, client_of: ClientOf) -> None:
        Site.objects.of_group(cast.group).filter(pk=cast.site.pk).update(location_as_typed="54.5, -2.4")
        client_of("coordinator").patch(address("sites", str(cast.site.pk)), {"latitude": 54.6}, format="json")
        site = Site.objects.of_group(cast.group).get(pk=cast.site.pk)
        assert (site.latitude, site.location_as_typed) == (54.6, "")
        # Nor does the page's form lead back to it.
        assert SiteForm(instance=site, group=cast.group).initial["location"].startswith("54.60000, ")

    @pytest.mark.parametrize(
        ("changes", "field"),
        [({"latitude": 91}, "latitude"), ({"code": "AB1"}, "request"), ({"name": ""}, "name")],
    )
    def test_what_is_wrong_is_said_at_its_field(
        self, cast: Cast, client_of: ClientOf, changes: dict[str, Any], field: str
    ) -> None:
        answer = posted(client_of("coordinator"), "sites", data=site_data(**changes))
        assert answer.status_code == 422
        assert fields_of(answer) == [field]

    def test_a_site_of_another_group_is_no_next_one_downstream(self, cast: Cast, client_of: ClientOf) -> None:
        data = site_data(downstream=str(cast.neighbour_site.pk))
        assert fields_of(posted(client_of("coordinator"), "sites", data=data)) == ["downstream"]

    def test_a_volunteer_may_not(self, cast: Cast, client_of: ClientOf) -> None:
        assert posted(client_of("volunteer"), "sites", data=site_data()).status_code == 403


class TestReview:
    def test_a_visit_is_approved_with_a_reason_for_its_findings(self, cast: Cast, client_of: ClientOf) -> None:
        visit = submit(cast.person("volunteer"), cast.site, measurements={"ph": {"value": "9.5"}})
        client = client_of("coordinator")
        refused = posted(client, "visits", visit.pk, "approve")
        assert (refused.status_code, fields_of(refused)) == (422, ["accept_findings_reason"])
        done = posted(client, "visits", visit.pk, "approve", data={"accept_findings_reason": "Meter checked."})
        assert done.json()["status"] == "approved"
        again = posted(client, "visits", visit.pk, "approve")
        assert (again.status_code, again.json()["problems"][0]["rule"]) == (409, "not_possible")

    def test_a_visit_that_was_changed_since_it_was_read_is_not_approved(
        self, cast: Cast, client_of: ClientOf
    ) -> None:
        visit, client = submit(cast.person("volunteer"), cast.site), client_of("coordinator")
        read = client.get(address("visits", str(visit.pk))).json()
        mended = submission_for(cast.site, id=str(visit.pk), notes="Mended.")
        mend_visit(person=cast.person("volunteer"), visit=visit, submission=mended)
        refused = posted(client, "visits", visit.pk, "approve", data={"revision": read["revision"]})
        assert (refused.status_code, refused.json()["problems"][0]["rule"]) == (409, "not_possible")
        assert "changed since" in refused.json()["detail"]
        (listed,) = client.get(address("visits")).json()["results"]
        done = posted(client, "visits", visit.pk, "approve", data={"revision": listed["revision"]})
        assert done.json()["status"] == "approved"

    def test_a_visit_that_was_changed_since_it_was_read_is_not_corrected(
        self, cast: Cast, client_of: ClientOf
    ) -> None:
        visit, client = submit(cast.person("volunteer"), cast.site), client_of("coordinator")
        read = client.get(address("visits", str(visit.pk))).json()
        mended = submission_for(cast.site, id=str(visit.pk), notes="Mended.")
        mend_visit(person=cast.person("volunteer"), visit=visit, submission=mended)
        body = {"reason": "Specimens seen.", "submission": submission_data(visit) | {"notes": "Mine."}}
        refused = posted(client, "visits", visit.pk, "correct", data=body | {"revision": read["revision"]})
        assert (refused.status_code, refused.json()["problems"][0]["rule"]) == (409, "not_possible")
        visit.refresh_from_db()
        assert visit.notes == "Mended."

    def test_a_visit_is_returned_with_a_message(self, cast: Cast, client_of: ClientOf) -> None:
        visit = submit(cast.person("volunteer"), cast.site)
        assert fields_of(posted(client_of("coordinator"), "visits", visit.pk, "return")) == ["message"]
        done = posted(client_of("coordinator"), "visits", visit.pk, "return", data={"message": "Look again."})
        assert (done.json()["status"], done.json()["review_message"]) == ("returned", "Look again.")

    def test_a_correction_is_scored_anew_and_waits(self, cast: Cast, client_of: ClientOf) -> None:
        visit = submit(cast.person("volunteer"), cast.site)
        data = submission_data(visit) | {"counts": [{"taxon": "Baetidae", "count": "3"}]}
        body = {"reason": "Specimens seen.", "submission": data}
        done = posted(client_of("coordinator"), "visits", visit.pk, "correct", data=body)
        assert done.status_code == 200
        assert done.json()["submission"]["counts"][0]["count"] == "3"

    def test_nobody_approves_a_visit_they_took_part_in(self, cast: Cast, client_of: ClientOf) -> None:
        visit = submit(cast.person("coordinator"), cast.site)
        assert posted(client_of("coordinator"), "visits", visit.pk, "approve").status_code == 403


class TestOnce:
    def test_a_request_sent_twice_is_done_once(self, cast: Cast, client_of: ClientOf) -> None:
        client = client_of("coordinator")
        first = posted(client, "sites", data=site_data(), key="one")
        second = posted(client, "sites", data=site_data(), key="one")
        assert (second.status_code, second.json()) == (201, first.json())
        assert second["Idempotent-Replayed"] == "true"
        assert Site.objects.of_group(cast.group).filter(code="NEW1").count() == 1

    def test_the_same_key_for_another_request_is_refused(self, cast: Cast, client_of: ClientOf) -> None:
        client = client_of("coordinator")
        posted(client, "sites", data=site_data(), key="one")
        answer = posted(client, "sites", data=site_data(code="NEW2"), key="one")
        assert (answer.status_code, answer.json()["problems"][0]["rule"]) == (422, "key_reused")

    def test_what_was_refused_may_be_mended_under_the_same_key(self, cast: Cast, client_of: ClientOf) -> None:
        client = client_of("coordinator")
        assert posted(client, "sites", data=site_data(name=""), key="one").status_code == 422
        assert not KeptAnswer.objects.exists()
        assert posted(client, "sites", data=site_data(), key="one").status_code == 201

    def test_two_people_may_choose_the_same_key(self, cast: Cast, client_of: ClientOf) -> None:
        assert posted(client_of("coordinator"), "sites", data=site_data(), key="one").status_code == 201
        other = posted(client_of("second_coordinator"), "sites", data=site_data(code="NEW2"), key="one")
        assert other.status_code == 201

    def test_a_key_that_is_too_long_is_refused(self, cast: Cast, client_of: ClientOf) -> None:
        assert posted(client_of("coordinator"), "sites", data=site_data(), key="x" * 101).status_code == 400


class TestExports:
    def test_one_is_ordered_watched_and_fetched(
        self, cast: Cast, client_of: ClientOf, settings: Any, tmp_path: Any
    ) -> None:
        settings.MEDIA_ROOT = tmp_path
        VisitFactory(site=cast.site, visited_on="2024-05-03")
        VisitFactory(site=cast.site, visited_on="2025-05-03")
        client = client_of("volunteer")
        ordered = posted(client, "exports", data={"content": "visits", "file_kind": "csv", "year": 2024})
        assert (ordered.status_code, ordered.json()["total"]) == (202, 1)
        assert client.get(ordered["Location"] + "file/").status_code == 404
        work_off(Job.objects.of_group(cast.group).get().pk)
        assert client.get(ordered["Location"]).json()["state"] == "done"
        file: Any = client.get(ordered["Location"] + "file/")
        assert b"2024-05-03" in b"".join(file.streaming_content)

    def test_a_wish_that_cannot_be_read_is_said_at_its_field(self, cast: Cast, client_of: ClientOf) -> None:
        assert fields_of(posted(client_of("volunteer"), "exports", data={"content": "all"})) == ["content"]

    def test_an_archive_is_for_coordinators(self, cast: Cast, client_of: ClientOf) -> None:
        assert posted(client_of("volunteer"), "exports", data={"content": "darwin_core"}).status_code == 403


class TestPages:
    def test_no_visit_is_skipped_or_shown_twice_while_others_come(
        self, cast: Cast, client_of: ClientOf
    ) -> None:
        for day in range(1, 6):
            VisitFactory(site=cast.site, visited_on=date(2024, 1, day))
        client = client_of("volunteer")
        page = client.get(address("visits"), {"limit": 2}).json()
        seen = [each["visited_on"] for each in page["results"]]
        VisitFactory(site=cast.site, visited_on=date(2024, 2, 1))
        while page["next"]:
            page = client.get(page["next"]).json()
            seen += [each["visited_on"] for each in page["results"]]
        assert seen == [f"2024-01-0{day}" for day in (5, 4, 3, 2, 1)]

    @pytest.mark.parametrize(
        ("query", "found"), [({"text": "foam"}, 1), ({"river": "Nowhere"}, 0), ({"year": "2024"}, 2)]
    )
    def test_the_filters_are_those_of_the_list(
        self, cast: Cast, client_of: ClientOf, query: dict[str, str], found: int
    ) -> None:
        VisitFactory(site=cast.site, visited_on=date(2024, 1, 1), notes="foam")
        VisitFactory(site=cast.site, visited_on=date(2024, 1, 2))
        assert len(client_of("volunteer").get(address("visits"), query).json()["results"]) == found


def test_a_finding_is_decided_by_its_own_number(cast: Cast, client_of: ClientOf) -> None:
    visit = submit(cast.person("volunteer"), cast.site, measurements={"ph": {"value": "9.5"}})
    finding = visit.findings.get()
    done = posted(client_of("coordinator"), "findings", finding.pk, "decide", data={"reason": "Meter checked."})
    assert done.json()["findings"][0]["decision"] == "accepted"
    assert posted(client_of("coordinator"), "findings", uuid4(), "decide").status_code == 404
    assert Visit.objects.of_group(cast.group).get().status == "waiting"
