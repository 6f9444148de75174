"""Safe returns: what may be planned, who is told at the start, more time, and the end."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.http import Http404
from django.utils import timezone

from portal.audit.services import history_of
from portal.outbox.models import Message
from surveys.errors import Conflict, NotPossible
from surveys.models import ReturnEvent, ReturnNotice, SafeReturn
from surveys.models.returns import Ending, Step
from surveys.outings.returns import ended_returns, live_returns
from surveys.services.outings import edit_outing_rules
from surveys.services.return_watch import watch_returns
from surveys.services.safe_returns import end_safe_return, extend_safe_return, start_safe_return
from tests.conftest import Cast
from tests.surveys.outings.returning import (
    OUTSIDER,
    begin_return,
    course,
    fresh,
    mails_to,
    minutes_after,
    plan_for,
)

pytestmark = pytest.mark.django_db
SHORE = OUTSIDER["named_email"]


def subjects(address: str) -> list[str]:
    return [mail.subject for mail in mails_to(address)]


def told(safe_return: SafeReturn, email: str) -> ReturnNotice:
    """The newest notice of somebody."""
    notices = ReturnNotice.objects.of_group(safe_return.group).filter(safe_return=safe_return, email=email)
    return notices.order_by("-told_at").first() or pytest.fail(f"{email} was not told.")


def let_pass(safe_return: SafeReturn, minutes: float) -> None:
    """The sweep that comes so many minutes after the time expected."""
    with time_machine.travel(minutes_after(fresh(safe_return).expected_at, minutes), tick=False):
        watch_returns()


class TestStarting:
    def test_the_pair_gets_the_link_and_the_named_person_a_word(self, cast: Cast) -> None:
        begin_return(cast)
        assert (
            subjects("vera@example.org") == subjects("owen@example.org") == ["Your safe return has begun [AB1]"]
        )
        assert subjects(SHORE) == ["Vera Example names you for a safe return"]

    def test_the_named_person_is_not_told_yet_where_they_go(self, cast: Cast) -> None:
        begin_return(cast)
        (mail,) = mails_to(SHORE)
        for private in ("Stepping stones", "54.5", "01632 960001", "green van", "AB1", "/safe-return/"):
            assert private not in mail.text + mail.html + mail.subject, private

    def test_the_same_form_sent_twice_starts_one(self, cast: Cast) -> None:
        number = uuid4()
        first, second = begin_return(cast, number), begin_return(cast, number)
        assert first == second
        assert SafeReturn.objects.of_group(cast.group).count() == 1
        assert course(first) == ["started"]
        assert len(mails_to(SHORE)) == 1

    def test_a_number_of_somebody_elses_is_a_conflict(self, cast: Cast) -> None:
        number = begin_return(cast).pk
        plan = plan_for(cast, partner=cast.volunteer.pk)
        with pytest.raises(Conflict):
            start_safe_return(person=cast.person("coordinator"), site=cast.site, number=number, plan=plan)

    def test_it_keeps_the_times_that_the_group_had_then(self, cast: Cast) -> None:
        begun = begin_return(cast)
        times = {"again_minutes": 5, "coordinators_minutes": 6, "named_minutes": 7}
        edit_outing_rules(person=cast.person("coordinator"), group=cast.group, fields=times)
        after = begin_return(cast)
        assert (fresh(begun).again_minutes, fresh(begun).named_minutes) == (15, 45)
        assert (fresh(after).again_minutes, fresh(after).named_minutes) == (5, 7)

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"expected_at": timedelta(minutes=-1)}, "expected_at"),
            ({"expected_at": timedelta(hours=24, minutes=1)}, "expected_at"),
            ({"partner": "volunteer"}, "partner"),
            ({"partner": "neighbour_volunteer"}, "partner"),
            ({"named_user": "neighbour_coordinator"}, "named_user"),
            ({"named_user": "volunteer"}, "named_user"),
            ({"named_user": "other_volunteer"}, "named_user"),
            ({"named_email": "VERA@example.org"}, "named_user"),
            ({"named_name": ""}, "named_user"),
            ({"named_email": ""}, "named_email"),
        ],
    )
    def test_it_refuses_what_cannot_be_at_its_field(
        self, cast: Cast, changes: dict[str, Any], field: str
    ) -> None:
        plan = {key: _value(cast, value) for key, value in changes.items()}
        with pytest.raises(NotPossible) as refusal:
            begin_return(cast, **plan)
        assert refusal.value.field == field
        assert not SafeReturn.objects.of_group(cast.group).exists()
        assert not Message.objects.across_groups("tests").exists()

    def test_a_member_may_be_named(self, cast: Cast) -> None:
        begun = begin_return(cast, named_user=cast.coordinator.pk, named_name="", named_email="")
        assert (begun.named_name, begun.named_email) == ("Cora Example", "cora@example.org")

    def test_a_partner_without_account_goes_by_name(self, cast: Cast) -> None:
        begun = begin_return(cast, partner=None, partner_name="Sam Reed")
        assert begun.partner_shown == "Sam Reed"
        assert begun.pair_ids == {cast.volunteer.pk}

    def test_a_neighbour_starts_none_here(self, cast: Cast) -> None:
        person = cast.person("neighbour_volunteer")
        with pytest.raises(Http404):
            start_safe_return(person=person, site=cast.site, number=uuid4(), plan=plan_for(cast))

    @pytest.mark.parametrize(
        "broken",
        [
            {"ended_how": "back"},
            {"partner": "volunteer"},
            {"named_user": "volunteer"},
            {"named_user": "other_volunteer"},
        ],
    )
    def test_the_database_refuses_what_must_never_be(self, cast: Cast, broken: dict[str, str]) -> None:
        begun = begin_return(cast)
        changes = {key: getattr(cast, value) if key != "ended_how" else value for key, value in broken.items()}
        with pytest.raises(IntegrityError), transaction.atomic():
            SafeReturn.objects.of_group(cast.group).filter(pk=begun.pk).update(**changes)


def _value(cast: Cast, value: Any) -> Any:
    if isinstance(value, timedelta):
        return timezone.now() + value
    account = getattr(cast, value, None) if value else None
    return account.pk if account else value


class TestMoreTime:
    def test_it_counts_from_the_time_expected_while_that_is_to_come(self, cast: Cast) -> None:
        begun = begin_return(cast)
        extended = extend_safe_return(safe_return=begun, person=cast.person("other_volunteer"))
        assert extended.expected_at == minutes_after(begun.expected_at, 30)

    def test_it_counts_from_now_once_overdue(self, cast: Cast) -> None:
        begun = begin_return(cast)
        with time_machine.travel(minutes_after(begun.expected_at, 20), tick=False):
            extended = extend_safe_return(safe_return=begun, person=cast.person("volunteer"))
            assert extended.expected_at == timezone.now() + timedelta(minutes=30)

    def test_the_reminders_begin_again_for_the_new_time(self, cast: Cast) -> None:
        begun = begin_return(cast)
        let_pass(begun, 0)
        with time_machine.travel(minutes_after(begun.expected_at, 1)):
            extend_safe_return(safe_return=begun, person=cast.person("volunteer"))
        assert fresh(begun).step == Step.NONE
        let_pass(begun, 0)
        assert course(begun) == ["started", "reminded", "extended", "reminded"]
        assert sum("Are you back?" in each for each in subjects("vera@example.org")) >= 1

    def test_who_was_told_that_they_are_overdue_hears_of_it(self, cast: Cast) -> None:
        begun = begin_return(cast)
        let_pass(begun, 31)
        with time_machine.travel(minutes_after(begun.expected_at, 32)):
            extend_safe_return(safe_return=begun, person=cast.person("volunteer"))
        assert any("takes more time" in each for each in subjects("cora@example.org"))
        assert not any("takes more time" in each for each in subjects(SHORE)), "they were not told to worry"

    def test_reminders_not_sent_yet_are_withdrawn_and_the_first_word_is_not(self, cast: Cast) -> None:
        begun = begin_return(cast)
        let_pass(begun, 31)
        with time_machine.travel(minutes_after(begun.expected_at, 32)):
            extend_safe_return(safe_return=begun, person=cast.person("volunteer"))
        cancelled = Message.objects.across_groups("tests").filter(state="cancelled")
        assert {each.kind for each in cancelled} == {"return.pair", "return.overdue"}
        assert len(mails_to(SHORE)) == 1

    @pytest.mark.parametrize("who", ["coordinator", "second_coordinator"])
    def test_only_the_pair_may(self, cast: Cast, who: str) -> None:
        with pytest.raises(PermissionDenied):
            extend_safe_return(safe_return=begin_return(cast), person=cast.person(who))

    def test_not_by_the_link_of_somebody_on_shore(self, cast: Cast) -> None:
        begun = begin_return(cast)
        let_pass(begun, 46)
        with pytest.raises(NotPossible):
            extend_safe_return(safe_return=begun, notice=told(begun, SHORE))

    def test_not_once_it_has_ended(self, cast: Cast) -> None:
        begun = begin_return(cast)
        end_safe_return(safe_return=begun, person=cast.person("volunteer"))
        with pytest.raises(NotPossible):
            extend_safe_return(safe_return=begun, person=cast.person("volunteer"))


class TestTheEnd:
    def test_one_of_the_pair_is_back(self, cast: Cast) -> None:
        begun = begin_return(cast)
        ended = end_safe_return(safe_return=begun, person=cast.person("other_volunteer"))
        assert (ended.ended_how, ended.ended_by_name) == (Ending.BACK, "Owen Example")
        assert course(begun) == ["started", "back"]
        assert subjects(SHORE)[-1] == "Vera Example is back"

    def test_after_the_end_nobody_is_reminded(self, cast: Cast) -> None:
        begun = begin_return(cast)
        end_safe_return(safe_return=begun, person=cast.person("volunteer"))
        let_pass(begun, 200)
        assert course(begun) == ["started", "back"]

    def test_pressed_twice_the_first_stands(self, cast: Cast) -> None:
        begun = begin_return(cast)
        first = end_safe_return(safe_return=begun, person=cast.person("volunteer"))
        second = end_safe_return(safe_return=begun, person=cast.person("coordinator"))
        assert (second.ended_at, second.ended_how) == (first.ended_at, Ending.BACK)
        assert course(begun) == ["started", "back"]

    def test_a_coordinator_knows_that_they_are_safe(self, cast: Cast) -> None:
        begun = begin_return(cast)
        let_pass(begun, 31)
        ended = end_safe_return(safe_return=begun, person=cast.person("coordinator"))
        assert ended.ended_how == Ending.KNOWN_SAFE
        assert subjects("cole@example.org")[-1] == "Vera Example is said to be safe"
        assert subjects("vera@example.org")[-1] == "Vera Example is said to be safe", "the pair hears it too"
        assert not any("said to be safe" in each for each in subjects("cora@example.org"))

    def test_the_named_person_ends_it_by_their_link(self, cast: Cast) -> None:
        begun = begin_return(cast)
        let_pass(begun, 46)
        ended = end_safe_return(safe_return=begun, notice=told(begun, SHORE))
        assert (ended.ended_how, ended.ended_by_name) == (Ending.KNOWN_SAFE, "Hazel Shore")
        entry = history_of(begun, cast.group).get(verb="safe_return.known_safe")
        assert (entry.actor, entry.actor_name) == (None, "Hazel Shore")

    def test_what_is_owed_and_not_sent_is_withdrawn(self, cast: Cast) -> None:
        begun = begin_return(cast)
        let_pass(begun, 46)
        end_safe_return(safe_return=begun, person=cast.person("volunteer"))
        left = Message.objects.across_groups("tests").filter(state="owed")
        assert {each.kind for each in left} == {"return.note"}

    def test_a_link_of_another_outing_ends_nothing(self, cast: Cast) -> None:
        begun, other = begin_return(cast), begin_return(cast)
        with pytest.raises(ValueError, match="Say who acts"):
            end_safe_return(safe_return=begun, notice=told(other, "vera@example.org"))
        assert fresh(begun).is_live

    def test_a_volunteer_who_has_nothing_to_do_with_it_may_not(self, cast: Cast) -> None:
        begun = begin_return(cast, partner=None, partner_name="Sam Reed")
        with pytest.raises(PermissionDenied):
            end_safe_return(safe_return=begun, person=cast.person("other_volunteer"))


class TestWhoSees:
    def test_only_those_concerned_and_coordinators(self, cast: Cast) -> None:
        begun = begin_return(cast, partner=None, partner_name="Sam Reed")
        seen = {
            who: list(live_returns(cast.person(who), cast.group))
            for who in ("volunteer", "coordinator", "other_volunteer")
        }
        assert seen == {"volunteer": [begun], "coordinator": [begun], "other_volunteer": []}

    def test_ended_ones_are_told_apart(self, cast: Cast) -> None:
        begun = begin_return(cast)
        end_safe_return(safe_return=begun, person=cast.person("volunteer"))
        person = cast.person("volunteer")
        assert (list(live_returns(person, cast.group)), ended_returns(person, cast.group)) == ([], [begun])

    def test_every_step_is_in_the_audit_trail(self, cast: Cast) -> None:
        begun = begin_return(cast)
        let_pass(begun, 0)
        extend_safe_return(safe_return=begun, person=cast.person("volunteer"))
        end_safe_return(safe_return=begun, person=cast.person("volunteer"))
        verbs = {entry.verb.partition(".")[2] for entry in history_of(begun, cast.group)}
        assert verbs == {"started", "overdue", "extended", "back"}
        assert ReturnEvent.objects.of_group(cast.group).count() == 4
