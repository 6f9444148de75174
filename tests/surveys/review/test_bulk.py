"""Many visits at once: the order they are checked in, the next one, and those approved without opening them."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.utils import timezone

from alerts.models import Trigger, Verdict
from portal.accounts.models import Role
from portal.audit.models import AuditEntry
from surveys.errors import NotPossible
from surveys.models import Visit
from surveys.review.queue import next_waiting, waiting_in_order
from surveys.services import bulk_review
from surveys.services.bulk_review import Approvals, approve_several
from surveys.services.questions import answer_by_link, ask_recorder
from surveys.services.review import approve_visit
from surveys.services.visits import mend_visit
from tests.conftest import Cast
from tests.factories import days_ago, member_of, person_for, submission_for, submit
from tests.surveys.pages import address, signed_in, text_of


def sent(cast: Cast, day: int, who: str = "volunteer", **changes: Any) -> Visit:
    """A visit of so many days ago; nothing speaks against it."""
    return submit(cast.person(who), cast.site, visited_on=days_ago(day).isoformat(), **changes)


def approve(cast: Cast, *visits: Visit, who: str = "coordinator") -> Approvals:
    seen = {each.pk: each.revision for each in visits}
    return approve_several(person=cast.person(who), group=cast.group, seen=seen)


def mend(cast: Cast, visit: Visit) -> None:
    """Its recorder writes something else; nothing speaks against it still."""
    mended = submission_for(
        cast.site, id=str(visit.pk), visited_on=visit.visited_on.isoformat(), notes="Mended."
    )
    mend_visit(person=cast.person("volunteer"), visit=visit, submission=mended)


def sent_low(cast: Cast, day: int) -> Visit:
    """One that was judged to be below its trigger."""
    visit = sent(cast, day)
    trigger = Trigger.objects.create(
        group=cast.group, site=cast.site, index="bmwp", level=60, valid_from=days_ago(day), reason="test"
    )
    low = {"outcome": "below", "trigger": trigger, "value": 48.0, "reasons": []}
    Verdict.objects.filter(group=cast.group, visit=visit).update(**low)
    return Visit.objects.of_group(cast.group).select_related("verdict").get(pk=visit.pk)


class TestOrder:
    def test_it_is_the_low_first_then_the_longest_waiting(self, cast: Cast) -> None:
        first, second = sent(cast, 40), sent(cast, 20)
        low = sent_low(cast, 10)
        assert list(waiting_in_order(cast.group)) == [low, first, second]

    def test_the_next_is_the_one_after_and_at_the_end_the_first_again(self, cast: Cast) -> None:
        first, second = sent(cast, 40), sent(cast, 20)
        low = sent_low(cast, 10)
        person = cast.person("coordinator")
        assert [next_waiting(person, each) for each in (low, first, second)] == [first, second, low]

    def test_the_next_leaves_out_what_the_person_may_not_decide(self, cast: Cast) -> None:
        here = sent(cast, 60)
        sent(cast, 40, who="coordinator")
        sent(cast, 30, partner=str(cast.coordinator.pk), partner_name="")
        corrected = sent(cast, 20)
        corrected.corrected_by.add(cast.coordinator)
        there = sent(cast, 10)
        assert next_waiting(cast.person("coordinator"), here) == there
        assert next_waiting(cast.person("coordinator"), there) == here

    def test_two_that_came_at_the_same_moment_are_both_seen(self, cast: Cast) -> None:
        visits = [sent(cast, 40), sent(cast, 20), sent(cast, 10)]
        Visit.objects.of_group(cast.group).update(submitted_at=timezone.now() - timedelta(days=1))
        place = Visit.objects.of_group(cast.group).get(pk=visits[0].pk)
        seen = set()
        for _step in visits:
            seen.add(place.pk)
            found = next_waiting(cast.person("coordinator"), place)
            assert found is not None
            place = found
        assert seen == {each.pk for each in visits}

    def test_there_is_no_next_when_it_is_the_last(self, cast: Cast) -> None:
        assert next_waiting(cast.person("coordinator"), sent(cast, 5)) is None


class TestApproveSeveral:
    def test_each_is_approved_with_an_audit_row_of_its_own(self, cast: Cast) -> None:
        visits = [sent(cast, 40), sent(cast, 20), sent(cast, 10)]
        done = approve(cast, *visits)
        assert (done.approved, done.left) == (visits, [])
        rows = AuditEntry.objects.of_group(cast.group).filter(verb="visit.approved")
        assert {each.object_id for each in rows} == {each.pk for each in visits}
        assert {each.actor_name for each in rows} == {"Cora Example"}

    def test_those_that_something_speaks_against_are_named_with_the_reason(self, cast: Cast) -> None:
        clean, own = sent(cast, 60), sent(cast, 50, who="coordinator")
        odd = sent(cast, 40, measurements={"ph": {"value": "9.4"}})
        low = sent_low(cast, 30)
        asked = sent(cast, 20)
        ask_recorder(person=cast.person("coordinator"), visit=asked, text="Where?")
        done = approve(cast, clean, own, odd, low, asked)
        assert done.approved == [clean]
        reasons = {visit.pk: reason for visit, reason in done.left}
        assert reasons[own.pk] == "you took part: somebody else approves"
        assert reasons[odd.pk] == "findings are open"
        assert reasons[low.pk] == "below the trigger: open it and look"
        assert reasons[asked.pk] == "a question is not answered yet"
        assert Visit.objects.of_group(cast.group).filter(status="waiting").count() == 4

    def test_an_answered_question_is_no_hindrance(self, cast: Cast) -> None:
        asked = sent(cast, 20)
        question = ask_recorder(person=cast.person("coordinator"), visit=asked, text="Where?")
        answer_by_link(question=question, text="Here.")
        assert approve(cast, asked).approved == [asked]

    def test_one_that_fails_stops_no_other(self, cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
        first, bad, last = sent(cast, 40), sent(cast, 20), sent(cast, 10)

        def failing(**given: Any) -> Visit:
            if given["visit"] == bad:
                approve_visit(**given)
                raise ValidationError("no")
            return approve_visit(**given)

        monkeypatch.setattr(bulk_review, "approve_visit", failing)
        done = approve(cast, first, bad, last)
        assert done.approved == [first, last]
        assert [visit for visit, _reason in done.left] == [bad]

    def test_a_visit_decided_meanwhile_or_of_another_group_is_passed_over(self, cast: Cast) -> None:
        gone = sent(cast, 20)
        approve_visit(person=cast.person("second_coordinator"), visit=gone)
        foreign = submit(cast.person("neighbour_volunteer"), cast.neighbour_site)
        assert approve(cast, gone, foreign) == Approvals()
        foreign.refresh_from_db()
        assert foreign.status == "waiting"

    def test_what_was_mended_since_it_was_shown_is_left_with_the_reason(self, cast: Cast) -> None:
        mended, alone = sent(cast, 40), sent(cast, 20)
        mend(cast, mended)
        done = approve(cast, mended, alone)
        assert done.approved == [alone]
        assert [(visit, reason.partition(".")[0]) for visit, reason in done.left] == [
            (mended, "This visit was changed since you opened this page")
        ]

    def test_nothing_ticked_and_too_much_ticked_are_said(self, cast: Cast) -> None:
        with pytest.raises(NotPossible, match="Tick the visits"):
            approve(cast)
        many: dict[UUID, int | None] = {uuid4(): 0 for _number in range(101)}
        with pytest.raises(NotPossible, match="Not more than 100"):
            approve_several(person=cast.person("coordinator"), group=cast.group, seen=many)

    def test_it_is_for_those_who_check(self, cast: Cast) -> None:
        visit = sent(cast, 20)
        with pytest.raises(PermissionDenied):
            approve(cast, visit, who="other_volunteer")
        with pytest.raises(Http404):
            approve(cast, visit, who="neighbour_coordinator")

    def test_a_guest_reviewer_approves_what_the_only_coordinator_may_not(self, cast: Cast) -> None:
        own = sent(cast, 20, who="coordinator")
        guest = person_for(member_of(cast.group, Role.REVIEWER, name="Greta Example"))
        done = approve_several(person=guest, group=cast.group, seen={own.pk: 0})
        assert done.approved == [own]


class TestPage:
    def post(self, cast: Cast, *numbers: object, back: str = "") -> Any:
        data = {"visit": [str(each) for each in numbers], "back": back}
        return signed_in(cast.coordinator).post(address("visits_approve", cast.group), data, follow=True)

    def test_it_approves_what_is_ticked_and_says_what_is_left_and_why(self, cast: Cast) -> None:
        clean, odd = sent(cast, 40), sent(cast, 20, measurements={"ph": {"value": "9.4"}})
        page = text_of(self.post(cast, clean.pk, odd.pk))
        assert f"1 visit approved: {clean.title}." in page
        assert f"Not approved: {odd.title}: findings are open." in page

    @pytest.mark.parametrize("name", ["review_queue", "group_desk"])
    def test_what_was_mended_since_the_page_was_opened_is_not_approved(self, cast: Cast, name: str) -> None:
        visit, client = sent(cast, 40), signed_in(cast.coordinator)
        boxes = re.findall(
            r'name="visit" value="([^"]+)"', client.get(address(name, cast.group)).content.decode()
        )
        mend(cast, visit)
        answer = client.post(address("visits_approve", cast.group), {"visit": boxes}, follow=True)
        assert "changed since you opened this page" in text_of(answer)
        visit.refresh_from_db()
        assert visit.status == "waiting"

    def test_it_goes_back_to_where_it_was_ticked(self, cast: Cast) -> None:
        sent(cast, 40)
        queue, desk = address("review_queue", cast.group), address("group_desk", cast.group)
        assert self.post(cast).redirect_chain == [(queue, 302)]
        assert self.post(cast, back="desk").redirect_chain == [(desk, 302)]

    def test_what_is_no_number_ticks_nothing(self, cast: Cast) -> None:
        assert "Tick the visits" in text_of(self.post(cast, "rubbish", ""))

    def test_only_what_can_be_approved_unopened_has_a_box(self, cast: Cast) -> None:
        clean, odd = sent(cast, 40), sent(cast, 20, measurements={"ph": {"value": "9.4"}})
        page = signed_in(cast.coordinator).get(address("review_queue", cast.group)).content.decode()
        assert f'value="{clean.pk}:0"' in page
        assert f'value="{odd.pk}' not in page

    @pytest.mark.parametrize("name", ["review_queue", "group_desk"])
    def test_where_nothing_can_be_ticked_there_is_no_button_for_it(self, cast: Cast, name: str) -> None:
        sent(cast, 20, measurements={"ph": {"value": "9.4"}})
        client = signed_in(cast.coordinator)
        assert "Approve those ticked" not in text_of(client.get(address(name, cast.group)))
        sent(cast, 40)
        assert "Approve those ticked" in text_of(client.get(address(name, cast.group)))

    def test_deciding_leads_on_to_the_next(self, cast: Cast) -> None:
        first, second = sent(cast, 40), sent(cast, 20)
        client = signed_in(cast.coordinator)
        answer = client.post(address("visit_approve", cast.group, visit_id=first.pk))
        assert answer["Location"] == address("visit_review", cast.group, visit_id=second.pk)
        back = client.post(address("visit_return", cast.group, visit_id=second.pk), {"message": "Which pool?"})
        assert back["Location"] == address("review_queue", cast.group)

    def test_the_season_of_earlier_years_stands_beside_the_visit(self, cast: Cast) -> None:
        for years in (1, 2):
            old = sent(cast, 365 * years + 3, counts={"Baetidae": 4, "Chironomidae": 9})
            approve_visit(person=cast.person("coordinator"), visit=old, accept_findings_reason="Small stream.")
        now = sent(cast, 3)
        page = text_of(signed_in(cast.coordinator).get(address("visit_review", cast.group, visit_id=now.pk)))
        assert "Against this season in earlier years" in page
        assert "BMWP 48 6 6 6 2" in page
