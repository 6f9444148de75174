"""What the solver is told of people: their days, their visits in hand, their training, who counts at all."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from portal.accounts.models import Membership, Role, User
from surveys.models import Site
from surveys.people.models import Minor, Training, TrainingKind
from surveys.rota.gathering import last_visits, trained_days, volunteers_of
from surveys.rota.queries import fits_of, people_free, silent_members
from surveys.rota.volunteers import Volunteer, month_of
from tests.conftest import Cast
from tests.factories import VisitFactory, days_ago, member_of
from tests.rota.conftest import ahead
from tests.rota.making import offer_days, plan, put_on

pytestmark = pytest.mark.django_db


def told(cast: Cast, user: User) -> Volunteer:
    found = {each.user_id: each for each in volunteers_of(cast.group, ahead(1), ahead(28))}
    return found[user.pk]


def names(cast: Cast) -> list[str]:
    return [each.name.split()[0] for each in volunteers_of(cast.group, ahead(1), ahead(28))]


def train(cast: Cast, user: User, permits: str = "sample", **facts: Any) -> Training:
    kind, _new = TrainingKind.objects.of_group(cast.group).get_or_create(
        group=cast.group, name=permits, permits=permits
    )
    membership = Membership.objects.of_group(cast.group).get(user=user)
    usual = {"membership": membership, "kind": kind, "trained_on": days_ago(9), "trainer_name": "Tess"}
    return Training.objects.create(**usual | facts)


class TestWho:
    def test_only_who_said_when_they_can_is_there(self, crew: Cast) -> None:
        assert names(crew) == ["Cora", "Owen", "Vera"]
        assert [each.name for each in silent_members(crew.group)] == ["Cole Example"]

    def test_who_left_or_has_no_account_any_more_is_not(self, crew: Cast) -> None:
        Membership.objects.of_group(crew.group).filter(user=crew.volunteer).update(left_at=timezone.now())
        crew.other_volunteer.is_active = False
        crew.other_volunteer.save()
        assert names(crew) == ["Cora"]

    def test_a_guest_reviewer_goes_nowhere(self, crew: Cast) -> None:
        guest = member_of(crew.group, Role.REVIEWER, name="Gil Guest")
        offer_days(crew.group, guest)
        assert "Gil" not in names(crew)
        assert guest not in people_free(crew.group, ahead(1), ahead(9))
        assert guest not in silent_members(crew.group)

    def test_what_was_said_to_another_group_is_not_told_here(self, crew: Cast) -> None:
        offer_days(crew.neighbour, crew.volunteer, weekdays=[], most_a_month=9)
        assert told(crew, crew.volunteer).most_a_month == 4

    def test_a_minor_is_known_as_one_until_the_day(self, crew: Cast) -> None:
        membership = Membership.objects.of_group(crew.group).get(user=crew.volunteer)
        minor = Minor.objects.create(
            membership=membership, until=ahead(2), guardian_name="Gwen", guardian_phone="1"
        )
        assert told(crew, crew.volunteer).is_minor
        minor.until = ahead(1)
        minor.save()
        assert not told(crew, crew.volunteer).is_minor


class TestInHand:
    def test_days_of_another_group_are_busy_but_no_load_here(self, crew: Cast) -> None:
        put_on(plan(crew.neighbour_site, ahead(3)), crew.volunteer)
        vera = told(crew, crew.volunteer)
        assert vera.busy == {ahead(3)}
        assert vera.load == 0

    def test_visits_of_the_last_two_months_count_as_load(self, crew: Cast) -> None:
        for day in (days_ago(10), ahead(5)):
            put_on(plan(crew.site, day), crew.volunteer, state="accepted")
        put_on(plan(crew.site, days_ago(80)), crew.volunteer, state="accepted")
        vera = told(crew, crew.volunteer)
        assert vera.load == 2
        assert vera.taken[month_of(ahead(5))] >= 1

    @pytest.mark.parametrize("state", ["declined", "removed", "swapped"])
    def test_what_one_no_longer_goes_to_does_not_count(self, crew: Cast, state: str) -> None:
        put_on(plan(crew.site, ahead(5)), crew.volunteer, state=state)
        vera = told(crew, crew.volunteer)
        assert (vera.load, vera.busy) == (0, frozenset())

    def test_a_draft_of_another_group_is_not_told(self, crew: Cast) -> None:
        draft = plan(crew.neighbour_site, ahead(3), state="draft", published_at=None)
        put_on(draft, crew.volunteer, state="proposed")
        assert told(crew, crew.volunteer).busy == frozenset()


class TestTraining:
    def test_a_group_that_keeps_none_asks_for_none(self, crew: Cast) -> None:
        train(crew, crew.volunteer, permits="first_aid")
        assert trained_days(crew.group, ahead(1), ahead(9)) is None
        assert told(crew, crew.volunteer).trained_on is None

    def test_it_counts_from_its_day_to_its_end(self, crew: Cast) -> None:
        train(crew, crew.volunteer, trained_on=ahead(3), valid_until=ahead(5))
        found = trained_days(crew.group, ahead(1), ahead(9)) or {}
        assert found[crew.volunteer.pk] == {ahead(3), ahead(4), ahead(5)}
        assert told(crew, crew.other_volunteer).trained_on == frozenset()

    @pytest.mark.parametrize("permits", ["sample", "lead"])
    def test_who_may_sample_or_lead_goes(self, crew: Cast, permits: str) -> None:
        train(crew, crew.volunteer, permits=permits)
        assert ahead(1) in (told(crew, crew.volunteer).trained_on or ())

    def test_two_trainings_count_together_and_one_withdrawn_does_not(self, crew: Cast) -> None:
        train(crew, crew.volunteer, trained_on=ahead(1), valid_until=ahead(1))
        train(crew, crew.volunteer, trained_on=ahead(3), valid_until=ahead(3))
        train(crew, crew.volunteer, withdrawn_at=timezone.now())
        found = trained_days(crew.group, ahead(1), ahead(9)) or {}
        assert found[crew.volunteer.pk] == {ahead(1), ahead(3)}

    def test_nobody_untrained_is_free_for_a_repeat_visit(self, crew: Cast) -> None:
        train(crew, crew.volunteer)
        assert people_free(crew.group, ahead(1), ahead(3)) == [crew.volunteer]


class TestLastThere:
    def test_recorder_and_partner_were_there(self, crew: Cast, second_site: Site) -> None:
        VisitFactory(site=crew.site, recorder=crew.volunteer, visited_on=days_ago(40))
        VisitFactory(site=crew.site, recorder=crew.coordinator, partner=crew.volunteer, visited_on=days_ago(9))
        VisitFactory(site=second_site, recorder=crew.volunteer, visited_on=days_ago(99))
        found = last_visits(crew.group)
        assert found[crew.volunteer.pk] == {crew.site.pk: days_ago(9), second_site.pk: days_ago(99)}
        assert found[crew.coordinator.pk] == {crew.site.pk: days_ago(9)}

    def test_a_visit_not_made_is_none(self, crew: Cast) -> None:
        VisitFactory(site=crew.site, recorder=crew.volunteer, was_made=False, not_made_reason="too_high")
        assert last_visits(crew.group) == {}


class TestFits:
    def test_each_member_is_told_with_what_speaks_against_them(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        put_on(planned, crew.coordinator)
        put_on(planned, crew.other_volunteer, state="declined")
        found = {each.name.split()[0]: hindrance for each, hindrance in fits_of(planned)}
        assert found == {"Owen": "declined", "Vera": ""}

    def test_it_asks_a_fixed_number_of_times(self, crew: Cast) -> None:
        costs = []
        for turn in range(2):
            with CaptureQueriesContext(connection) as asked:
                volunteers_of(crew.group, ahead(1), ahead(28))
            costs.append(len(asked))
            for number in range(9):
                user = member_of(crew.group, name=f"Member {number}")
                offer_days(crew.group, user).named_days.create(
                    kind="away", first_day=ahead(1), last_day=ahead(2)
                )
                put_on(plan(crew.site, ahead(10 + 9 * turn + number)), user)
        assert costs[0] == costs[1] <= 10
