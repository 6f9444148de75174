"""A question to the recorder and its answer in the same place, with the visit waiting meanwhile."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError
from django.http import Http404
from django.test import Client
from django.utils import timezone

from portal.accounts.models import Membership, Role
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from surveys.errors import NotPossible
from surveys.models import Visit, VisitQuestion
from surveys.review.links import QUESTION
from surveys.review.questions import answers_waiting, questions_to
from surveys.services.questions import answer_by_link, answer_question, ask_recorder
from surveys.services.review import approve_visit, return_visit
from tests.conftest import Cast
from tests.factories import VisitFactory, member_of, person_for, submit
from tests.surveys.pages import address, signed_in, text_of


@pytest.fixture
def visit(cast: Cast) -> Visit:
    return submit(cast.person("volunteer"), cast.site)


def ask(
    cast: Cast, visit: Visit, text: str = "Which pool was spot 2?", who: str = "coordinator"
) -> VisitQuestion:
    return ask_recorder(person=cast.person(who), visit=visit, text=text)


class TestAsk:
    def test_it_goes_to_the_recorder_by_mail_with_a_link_and_leaves_the_visit_waiting(
        self, cast: Cast, visit: Visit
    ) -> None:
        ask(cast, visit)
        mail = Message.objects.of_group(cast.group).get(kind="visit_question")
        assert (mail.to_address, mail.reply_to) == ("vera@example.org", "cora@example.org")
        assert "Which pool was spot 2?" in mail.text
        assert "Which pool was spot 2?" in mail.html
        assert "/questions/" in mail.text
        visit.refresh_from_db()
        assert visit.status == "waiting"

    def test_it_stands_in_the_history_of_the_visit(self, cast: Cast, visit: Visit) -> None:
        answer_question(person=cast.person("volunteer"), question=ask(cast, visit), text="The lower one.")
        trail = AuditEntry.objects.of_group(cast.group).filter(object_id=visit.pk, verb__contains=".a")
        told = [(each.verb, each.actor_name, each.reason) for each in trail.order_by("at")]
        assert told == [
            ("visit.asked", "Cora Example", "Which pool was spot 2?"),
            ("visit.answered", "Vera Example", "The lower one."),
        ]

    def test_it_goes_to_whoever_typed_it_where_the_recorder_has_no_account(self, cast: Cast) -> None:
        visit = VisitFactory(site=cast.site, entered_by=cast.other_volunteer, recorder_name="Old Hand")
        assert ask(cast, visit).asked_of == cast.other_volunteer

    def test_it_needs_words(self, cast: Cast, visit: Visit) -> None:
        with pytest.raises(NotPossible) as refusal:
            ask(cast, visit, "  ")
        assert refusal.value.field == "question"

    def test_nobody_asks_themself(self, cast: Cast) -> None:
        own = submit(cast.person("coordinator"), cast.site)
        with pytest.raises(NotPossible, match="yourself"):
            ask(cast, own)

    def test_nobody_who_left_is_written_to(self, cast: Cast, visit: Visit) -> None:
        Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(left_at=timezone.now())
        with pytest.raises(NotPossible, match="does not belong to the group any more"):
            ask(cast, visit)

    def test_a_decided_visit_is_not_asked_about(self, cast: Cast, visit: Visit) -> None:
        approve_visit(person=cast.person("coordinator"), visit=visit)
        with pytest.raises(NotPossible, match="while the visit waits"):
            ask(cast, visit)

    def test_it_is_for_those_who_check(self, cast: Cast, visit: Visit) -> None:
        with pytest.raises(PermissionDenied):
            ask(cast, visit, who="other_volunteer")
        with pytest.raises(Http404):
            ask(cast, visit, who="neighbour_coordinator")

    def test_a_guest_reviewer_may_ask(self, cast: Cast, visit: Visit) -> None:
        guest = member_of(cast.group, Role.REVIEWER, name="Greta Example")
        assert ask_recorder(person=person_for(guest), visit=visit, text="Where?").asked_by == guest


class TestAnswer:
    def test_it_is_given_once(self, cast: Cast, visit: Visit) -> None:
        question = ask(cast, visit)
        answer_question(person=cast.person("volunteer"), question=question, text="The lower one.")
        with pytest.raises(NotPossible, match="answered already"):
            answer_by_link(question=question, text="No, the upper one.")
        question.refresh_from_db()
        assert question.answer == "The lower one."

    @pytest.mark.parametrize("who", ["other_volunteer", "coordinator"])
    def test_it_is_for_the_person_asked(self, cast: Cast, visit: Visit, who: str) -> None:
        with pytest.raises(PermissionDenied):
            answer_question(person=cast.person(who), question=ask(cast, visit), text="I guess.")

    def test_it_needs_words(self, cast: Cast, visit: Visit) -> None:
        with pytest.raises(NotPossible) as refusal:
            answer_question(person=cast.person("volunteer"), question=ask(cast, visit), text=" ")
        assert refusal.value.field == "answer"

    def test_no_row_is_half_answered(self, cast: Cast, visit: Visit) -> None:
        question = ask(cast, visit)
        with pytest.raises(IntegrityError):
            VisitQuestion.objects.filter(pk=question.pk, visit__group=cast.group).update(answer="x")


class TestWhatWaits:
    def test_the_open_question_waits_for_the_recorder_then_the_answer_for_the_coordinator(
        self, cast: Cast, visit: Visit
    ) -> None:
        question = ask(cast, visit)
        assert list(questions_to(cast.person("volunteer"), cast.group)) == [question]
        assert list(answers_waiting(cast.group)) == []
        answer_question(person=cast.person("volunteer"), question=question, text="The lower one.")
        assert list(questions_to(cast.person("volunteer"), cast.group)) == []
        assert list(answers_waiting(cast.group)) == [question]

    def test_neither_waits_once_the_visit_is_decided(self, cast: Cast, visit: Visit) -> None:
        ask(cast, visit)
        answer_question(person=cast.person("volunteer"), question=ask(cast, visit, "And when?"), text="At ten.")
        return_visit(person=cast.person("coordinator"), visit=visit, message="Please put the pool in.")
        assert list(questions_to(cast.person("volunteer"), cast.group)) == []
        assert list(answers_waiting(cast.group)) == []


class TestPages:
    def test_it_is_asked_answered_and_read_in_the_same_place(self, cast: Cast, visit: Visit) -> None:
        coordinator = signed_in(cast.coordinator)
        review = address("visit_review", cast.group, visit_id=visit.pk)
        asked = coordinator.post(
            address("visit_ask", cast.group, visit_id=visit.pk), {"question": "Which pool?"}
        )
        assert asked["Location"] == f"{review}#questions"
        assert "Cora Example asked Vera Example" in text_of(coordinator.get(review))
        recorder = signed_in(cast.volunteer)
        detail = recorder.get(address("visit_detail", cast.group, visit_id=visit.pk))
        question = VisitQuestion.objects.of_group(cast.group).get()
        place = address("question_answer", cast.group, question_id=question.pk)
        assert place in detail.content.decode()
        assert recorder.post(place, {"answer": "The lower one."}).status_code == 302
        page = text_of(coordinator.get(review))
        assert "Vera Example answered" in page
        assert "The lower one." in page

    def test_a_question_without_words_keeps_the_page_and_names_the_field(
        self, cast: Cast, visit: Visit
    ) -> None:
        answer = signed_in(cast.coordinator).post(address("visit_ask", cast.group, visit_id=visit.pk), {})
        assert answer.status_code == 422
        assert answer.context["question_form"].errors["question"]

    def test_what_the_service_refuses_stands_at_the_field(self, cast: Cast) -> None:
        own = submit(cast.person("coordinator"), cast.site)
        place = address("visit_ask", cast.group, visit_id=own.pk)
        answer = signed_in(cast.coordinator).post(place, {"question": "Really?"})
        assert answer.status_code == 422
        assert "there is nobody else to ask" in text_of(answer)
        assert "Really?" in answer.content.decode()


class TestLink:
    def place(self, question: VisitQuestion) -> str:
        return f"/questions/{QUESTION.make(question.pk)}/"

    def test_it_answers_without_signing_in(self, cast: Cast, visit: Visit, client: Client) -> None:
        question = ask(cast, visit)
        page = client.get(self.place(question))
        assert "Which pool was spot 2?" in text_of(page)
        assert page["X-Robots-Tag"] == "noindex, nofollow"
        answer: Any = client.post(self.place(question), {"answer": "The lower one."}, follow=True)
        assert "Your answer stands beside the visit" in text_of(answer)
        question.refresh_from_db()
        assert question.answer == "The lower one."

    def test_reading_it_answers_nothing(self, cast: Cast, visit: Visit, client: Client) -> None:
        question = ask(cast, visit)
        client.get(self.place(question))
        question.refresh_from_db()
        assert question.answered_at is None

    def test_an_answered_question_is_not_shown_to_whoever_got_the_mail_passed_on(
        self, cast: Cast, visit: Visit, client: Client
    ) -> None:
        question = ask(cast, visit)
        answer_by_link(question=question, text="The lower one.")
        page = text_of(client.get(self.place(question)))
        assert "The lower one." not in page
        assert client.post(self.place(question), {"answer": "Other."}).status_code == 422

    def test_it_dies_with_age_and_with_the_membership(self, cast: Cast, visit: Visit, client: Client) -> None:
        question = ask(cast, visit)
        place = self.place(question)
        with time_machine.travel(timezone.now() + timedelta(days=61)):
            assert client.get(place).status_code == 410
        Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(left_at=timezone.now())
        assert client.get(place).status_code == 410

    def test_a_forged_one_opens_nothing(self, cast: Cast, visit: Visit, client: Client) -> None:
        ask(cast, visit)
        assert client.get("/questions/made-up/").status_code == 404
