"""Checking visits on the pages: the queue, the evidence, and the three things a coordinator can do."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

import pytest

from surveys.models import Finding, Visit
from surveys.services.visits import correct_visit, mend_visit
from tests.conftest import Cast
from tests.factories import CLEAN_COUNTS, VisitFactory, data_for, days_ago, submission_for, submit
from tests.surveys.pages import address, post_of, signed_in, text_of

QueryCeiling = Callable[..., AbstractContextManager[Any]]
QUEUE_QUERIES = 12
REVIEW_QUERIES = 15


@pytest.fixture
def visit(cast: Cast) -> Visit:
    """A visit with one finding, its pH."""
    return submit(cast.person("volunteer"), cast.site, measurements={"ph": {"value": "9.4"}})


def place(name: str, visit: Visit) -> str:
    return address(name, visit.group, visit_id=visit.pk)


def finding_of(visit: Visit) -> Finding:
    return Finding.objects.of_group(visit.group).get(visit=visit)


def decide(cast: Cast, visit: Visit, reason: str, user: str = "coordinator") -> Any:
    finding = finding_of(visit)
    where = address("finding_decide", cast.group, finding_id=finding.pk)
    return signed_in(getattr(cast, user)).post(where, {f"finding-{finding.pk}-reason": reason})


class TestQueue:
    def queue(self, cast: Cast, user: str = "coordinator") -> Any:
        return signed_in(getattr(cast, user)).get(address("review_queue", cast.group))

    def test_it_shows_what_waits_longest_first_with_its_findings(self, cast: Cast, visit: Visit) -> None:
        second = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(200).isoformat())
        VisitFactory(site=cast.site, status="returned")
        answer = self.queue(cast)
        assert answer.context["visits"] == [visit, second]
        assert "1 to look at" in text_of(answer)
        assert "2 visits wait" in text_of(answer)

    def test_it_tells_a_coordinator_which_ones_somebody_else_must_approve(self, cast: Cast) -> None:
        submit(cast.person("coordinator"), cast.site)
        assert "you took part" in text_of(self.queue(cast))
        assert "you took part" not in text_of(self.queue(cast, "second_coordinator"))

    def test_it_says_when_nothing_waits(self, cast: Cast) -> None:
        assert "Nothing waits to be checked" in text_of(self.queue(cast))

    def test_it_is_for_coordinators(self, cast: Cast) -> None:
        assert self.queue(cast, "volunteer").status_code == 403
        assert self.queue(cast, "neighbour_coordinator").status_code == 404

    @pytest.mark.parametrize("number", [2, 12])
    def test_it_asks_the_database_as_often_for_many_as_for_few(
        self, cast: Cast, number: int, django_assert_max_num_queries: QueryCeiling
    ) -> None:
        for day in range(number):
            submit(cast.person("volunteer"), cast.site, visited_on=days_ago(day + 1).isoformat())
        client = signed_in(cast.coordinator)
        with django_assert_max_num_queries(QUEUE_QUERIES):
            client.get(address("review_queue", cast.group))


class TestReview:
    def page(self, cast: Cast, visit: Visit, user: str = "coordinator") -> str:
        return text_of(signed_in(getattr(cast, user)).get(place("visit_review", visit)))

    def test_it_shows_a_finding_beside_its_field(self, cast: Cast, visit: Visit) -> None:
        page = self.page(cast, visit)
        assert "pH 9.4 9.4 is unusual" in page

    def test_it_sets_the_visit_against_the_last_ones(self, cast: Cast) -> None:
        for day in (100, 70, 40):
            submit(cast.person("volunteer"), cast.site, visited_on=days_ago(day).isoformat())
        counts = {"Chironomidae": 300, "Asellidae": 4}
        page = self.page(cast, submit(cast.person("volunteer"), cast.site, counts=counts))
        assert "BMWP 5 48 48 48" in page
        assert "Heptageniidae – 14 14 14 missing now; found at 3 of the last 3" in page
        assert "Asellidae 4 – – – not found at the last 3 visits" in page

    def test_it_leaves_out_of_the_comparison_what_came_later_or_was_not_made(
        self, cast: Cast, visit: Visit
    ) -> None:
        VisitFactory(site=cast.site, was_made=False, not_made_reason="dry", visited_on=days_ago(9))
        early = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(50).isoformat())
        answer = signed_in(cast.coordinator).get(place("visit_review", early))
        assert answer.context["comparison"].visits == (early,)
        assert "This is the first visit to the site." in text_of(answer)

    def test_it_tells_an_involved_coordinator_why_somebody_else_approves(self, cast: Cast) -> None:
        own = submit(cast.person("coordinator"), cast.site)
        page = self.page(cast, own)
        assert "Nobody approves their own work: you recorded it, you sent it in." in page
        assert "Approve" not in page.replace("Approved", "")
        assert "Approve" in self.page(cast, own, "second_coordinator")

    def test_it_is_for_coordinators_of_the_group(self, cast: Cast, visit: Visit) -> None:
        assert signed_in(cast.volunteer).get(place("visit_review", visit)).status_code == 403
        assert signed_in(cast.neighbour_coordinator).get(place("visit_review", visit)).status_code == 404

    @pytest.mark.parametrize("number", [1, 10])
    def test_it_asks_the_database_as_often_after_many_visits_as_after_one(
        self, cast: Cast, number: int, django_assert_max_num_queries: QueryCeiling
    ) -> None:
        for day in range(number):
            last = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(200 - day).isoformat())
        client = signed_in(cast.coordinator)
        with django_assert_max_num_queries(REVIEW_QUERIES):
            client.get(place("visit_review", last))


def shown_in(page: Any) -> str:
    """The revision that the form of approving carries."""
    found = re.search(r'name="revision" value="(\d+)"', page.content.decode())
    assert found
    return found[1]


class TestApprove:
    def approve(self, cast: Cast, visit: Visit, user: str = "coordinator", reason: str = "") -> Any:
        client = signed_in(getattr(cast, user))
        return client.post(place("visit_approve", visit), {"accept_findings_reason": reason})

    def test_it_approves_and_leads_on_to_what_waits(self, cast: Cast, visit: Visit) -> None:
        answer = self.approve(cast, visit, reason="Meter checked against the standard.")
        visit.refresh_from_db()
        assert visit.status == "approved"
        assert answer.url == address("review_queue", cast.group)
        assert finding_of(visit).decision_reason == "Meter checked against the standard."

    def test_it_shows_again_what_was_changed_since_the_page_was_opened(self, cast: Cast, visit: Visit) -> None:
        client = signed_in(cast.coordinator)
        page = client.get(place("visit_review", visit))
        mended = submission_for(cast.site, id=str(visit.pk), notes="Mended.")
        mend_visit(person=cast.person("volunteer"), visit=visit, submission=mended)
        told = {"accept_findings_reason": "Fine.", "revision": shown_in(page)}
        answer = client.post(place("visit_approve", visit), told, follow=True)
        assert "changed since you opened this page" in text_of(answer)
        visit.refresh_from_db()
        assert visit.status == "waiting"

    def test_it_asks_at_the_field_for_the_reason_of_findings_left_open(self, cast: Cast, visit: Visit) -> None:
        answer = self.approve(cast, visit)
        visit.refresh_from_db()
        assert (answer.status_code, visit.status) == (422, "waiting")
        assert answer.context["approve_form"].errors["accept_findings_reason"]

    def test_it_needs_no_reason_once_each_finding_is_decided(self, cast: Cast, visit: Visit) -> None:
        assert decide(cast, visit, "Limestone spring above.").status_code == 302
        self.approve(cast, visit)
        visit.refresh_from_db()
        assert visit.status == "approved"

    def test_it_tells_a_second_reviewer_that_it_is_done_already(self, cast: Cast, visit: Visit) -> None:
        self.approve(cast, visit, reason="Fine.")
        answer = self.approve(cast, visit, "second_coordinator", reason="Fine.")
        page = text_of(signed_in(cast.second_coordinator).get(answer.url))
        assert answer.url == place("visit_review", visit)
        assert "approved (Cora Example)" in page

    def test_it_is_refused_to_whoever_took_part_or_is_no_coordinator(self, cast: Cast) -> None:
        own = submit(cast.person("coordinator"), cast.site)
        assert self.approve(cast, own, reason="Mine.").status_code == 403
        assert self.approve(cast, own, "volunteer", reason="Fine.").status_code == 403
        assert self.approve(cast, own, "neighbour_coordinator", reason="Fine.").status_code == 404
        own.refresh_from_db()
        assert own.status == "waiting"


class TestReturn:
    def test_it_returns_the_visit_with_the_message(self, cast: Cast, visit: Visit) -> None:
        answer = signed_in(cast.coordinator).post(place("visit_return", visit), {"message": "Which meter?"})
        visit.refresh_from_db()
        assert (visit.status, visit.review_message) == ("returned", "Which meter?")
        assert answer["Location"] == address("review_queue", cast.group)

    def test_it_asks_for_the_message_at_its_field(self, cast: Cast, visit: Visit) -> None:
        answer = signed_in(cast.coordinator).post(place("visit_return", visit), {"message": " "})
        assert answer.status_code == 422
        assert answer.context["return_form"].errors["message"]
        assert 'class="disclosure" open' in answer.content.decode()

    def test_it_is_refused_to_whoever_took_part(self, cast: Cast) -> None:
        own = submit(cast.person("coordinator"), cast.site)
        assert signed_in(cast.coordinator).post(place("visit_return", own), {"message": "x"}).status_code == 403


class TestDecide:
    def test_it_keeps_the_reason_and_who_gave_it_beside_the_finding(self, cast: Cast, visit: Visit) -> None:
        decide(cast, visit, "Limestone spring above.")
        page = text_of(signed_in(cast.volunteer).get(place("visit_detail", visit)))
        assert "right as recorded: Limestone spring above. (Cora Example)" in page

    def test_it_asks_for_a_reason_at_the_finding(self, cast: Cast, visit: Visit) -> None:
        answer = decide(cast, visit, "")
        assert answer.status_code == 422
        assert answer.context["decisions"][0][1].errors["reason"]
        assert finding_of(visit).decision == ""

    def test_it_is_refused_to_volunteers_and_other_groups(self, cast: Cast, visit: Visit) -> None:
        assert decide(cast, visit, "x", "volunteer").status_code == 403
        assert decide(cast, visit, "x", "neighbour_coordinator").status_code == 404


class TestCorrect:
    def correct(self, cast: Cast, visit: Visit, reason: str, user: str = "coordinator", **changes: Any) -> Any:
        data = data_for(cast.site, measurements={"ph": {"value": "9.4"}}) | changes
        client = signed_in(getattr(cast, user))
        return client.post(place("visit_correct", visit), post_of(data) | {"reason": reason}, follow=True)

    def test_it_starts_with_what_was_recorded_and_its_findings(self, cast: Cast, visit: Visit) -> None:
        answer = signed_in(cast.coordinator).get(place("visit_correct", visit))
        assert 'value="9.4"' in answer.content.decode()
        assert "9.4 is unusual" in text_of(answer)

    def test_it_shows_old_and_new_with_name_and_reason(self, cast: Cast, visit: Visit) -> None:
        page = text_of(self.correct(cast, visit, "Meter slipped.", measurements={"ph": {"value": "8.4"}}))
        assert "Visit corrected" in page
        assert "Meter slipped." in page
        assert "pH: was 9.4 pH 8.4 pH" in page
        assert "you corrected it" in page

    def test_it_asks_for_the_reason_and_keeps_what_was_changed(self, cast: Cast, visit: Visit) -> None:
        answer = self.correct(cast, visit, "", measurements={"ph": {"value": "8.4"}})
        assert answer.status_code == 422
        assert answer.context["reason_form"].errors["reason"]
        assert 'value="8.4"' in answer.content.decode()

    def test_it_tells_all_mistakes_at_once(self, cast: Cast, visit: Visit) -> None:
        answer = self.correct(cast, visit, "", measurements={"ph": {"value": "acid"}})
        assert answer.context["reason_form"].errors["reason"]
        assert list(answer.context["entry"].form["measurements-ph-value"].errors)

    def test_it_says_when_nothing_was_changed(self, cast: Cast, visit: Visit) -> None:
        data = data_for(cast.site, measurements={"ph": {"value": "9.4"}})
        data["recorder"] = str(cast.volunteer.pk)
        answer = self.correct(cast, visit, "To be sure.", **data)
        assert answer.status_code == 422
        assert "Nothing was changed." in text_of(answer)

    def test_it_takes_the_right_to_approve_from_whoever_corrects(self, cast: Cast, visit: Visit) -> None:
        submission = submission_for(cast.site, id=str(visit.pk), counts={**CLEAN_COUNTS, "Baetidae": 4})
        correct_visit(
            person=cast.person("coordinator"), visit=visit, submission=submission, reason="Miscounted."
        )
        answer = signed_in(cast.coordinator).post(
            place("visit_approve", visit), {"accept_findings_reason": "x"}
        )
        assert answer.status_code == 403

    def test_it_is_for_coordinators(self, cast: Cast, visit: Visit) -> None:
        assert signed_in(cast.volunteer).get(place("visit_correct", visit)).status_code == 403
        assert signed_in(cast.neighbour_coordinator).get(place("visit_correct", visit)).status_code == 404
