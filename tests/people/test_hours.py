"""Hours given, year by year: of visits by the clock, of other work as entered."""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal
from uuid import UUID, uuid4

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from portal.accounts.models import Membership, User
from portal.audit.services import history_of
from surveys.errors import Conflict, NotPossible
from surveys.models import Visit
from surveys.people.hours import LONGEST_VISIT, Hours, hours_beside_visits, hours_given, hours_of
from surveys.people.models import OtherHours
from surveys.people.services import records
from tests.conftest import Cast
from tests.factories import VisitFactory, days_ago, person_for
from tests.people.making import membership_of

# What a site says unless told otherwise: common practice, no source.
PLANNED_HOURS = 2.0
pytestmark = pytest.mark.django_db
YEAR = 2024


def made(cast: Cast, start: str = "", end: str = "", **fields: object) -> Visit:
    times = {"started_at": time.fromisoformat(start), "ended_at": time.fromisoformat(end)} if start else {}
    usual = {"recorder": cast.volunteer, "partner": cast.other_volunteer, "visited_on": date(YEAR, 5, 7)}
    return VisitFactory(site=cast.site, entered_by=cast.volunteer, **{**usual, **times, **fields})


def add(cast: Cast, user: User | None = None, number: UUID | None = None, **changes: object) -> OtherHours:
    who = user or cast.volunteer
    usual = {"day": date(YEAR, 3, 1), "work": "sorting", "hours": Decimal("1.5"), "note": " At home. "}
    membership = membership_of(who, cast.group)
    return records.add_hours(
        person=person_for(who),
        membership=membership,
        number=number or uuid4(),
        **{**usual, **changes},  # type: ignore[arg-type]
    )


class TestAYear:
    def test_nothing_given_is_nought(self, cast: Cast) -> None:
        assert hours_given(cast.group, YEAR) == Hours(YEAR)

    def test_each_who_went_gives_the_time_between_start_and_end(self, cast: Cast) -> None:
        made(cast, "10:00", "11:30")
        found = hours_given(cast.group, YEAR)
        assert (found.visits, found.people, found.visit_hours) == (1, 2, 3.0)

    @pytest.mark.parametrize(
        ("start", "end"), [("", ""), ("11:00", "10:00"), ("10:00", "10:00"), ("01:00", "14:00")]
    )
    def test_times_that_are_missing_or_cannot_be_count_as_planned(
        self, cast: Cast, start: str, end: str
    ) -> None:
        made(cast, start, end)
        found = hours_given(cast.group, YEAR)
        assert (found.planned_visits, found.visit_hours) == (1, 2 * PLANNED_HOURS)

    def test_without_times_a_visit_counts_as_long_as_its_site_says(self, cast: Cast) -> None:
        cast.site.visit_minutes = 90
        cast.site.save()
        made(cast, "", "")
        own = Membership.objects.of_group(cast.group).get(user=cast.volunteer)
        assert hours_given(cast.group, YEAR).visit_hours == 3.0
        assert hours_of(own, YEAR).visit_hours == 1.5

    def test_the_longest_visit_still_counts_by_the_clock(self, cast: Cast) -> None:
        made(cast, "06:00", "18:00")
        assert hours_given(cast.group, YEAR).visit_hours == 2 * LONGEST_VISIT

    def test_a_name_without_an_account_is_one_person(self, cast: Cast) -> None:
        made(cast, partner=None, partner_name="Sam Example")
        made(cast, partner=None, partner_name="SAM example")
        made(cast, partner=None, recorder=None, recorder_name="Sam Example")
        found = hours_given(cast.group, YEAR)
        assert (found.people, found.visit_hours) == (2, 5 * PLANNED_HOURS)

    def test_visits_not_made_of_other_years_and_of_others_are_left_out(self, cast: Cast) -> None:
        made(cast, was_made=False, not_made_reason="too_high")
        made(cast, visited_on=date(YEAR - 1, 12, 31))
        made(cast, visited_on=date(YEAR + 1, 1, 1))
        VisitFactory(site=cast.neighbour_site, entered_by=cast.neighbour_volunteer, visited_on=date(YEAR, 5, 7))
        assert hours_given(cast.group, YEAR) == Hours(YEAR)

    def test_other_work_is_added_by_kind_and_whoever_only_sorts_is_one_of_the_people(self, cast: Cast) -> None:
        made(cast, "10:00", "11:00")
        add(cast, cast.coordinator)
        add(cast, cast.coordinator, hours=Decimal("0.5"))
        add(cast, work="kit", hours=Decimal(2))
        add(cast, day=date(YEAR - 1, 12, 31))
        found = hours_given(cast.group, YEAR)
        assert found.other == {"sorting": 2.0, "kit": 2.0}
        assert (found.people, found.other_hours, found.total) == (3, 4.0, 6.0)
        assert hours_beside_visits(cast.group, YEAR) == 4.0
        assert hours_beside_visits(cast.neighbour, YEAR) == 0.0

    def test_of_one_member_only_their_own_count(self, cast: Cast) -> None:
        made(cast, "10:00", "11:00")
        made(cast, "10:00", "12:00", recorder=cast.coordinator)
        made(cast, recorder=cast.coordinator, partner=None)
        add(cast)
        add(cast, cast.other_volunteer, hours=Decimal(3))
        of = {
            user: hours_of(membership_of(user, cast.group), YEAR)
            for user in (cast.volunteer, cast.other_volunteer)
        }
        assert (of[cast.volunteer].visit_hours, of[cast.volunteer].other) == (1.0, {"sorting": 1.5})
        assert (of[cast.other_volunteer].visits, of[cast.other_volunteer].total) == (2, 6.0)


class TestEntering:
    def test_it_is_kept_and_stands_in_the_trail(self, cast: Cast) -> None:
        assert add(cast).note == "At home."
        [entry] = history_of(membership_of(cast.volunteer, cast.group), cast.group)
        assert entry.changes == {"hours": [None, "2024-03-01: 1.5 h"]}

    def test_a_form_sent_twice_is_one_entry(self, cast: Cast) -> None:
        number = uuid4()
        assert add(cast, number=number) == add(cast, number=number)
        assert OtherHours.objects.of_group(cast.group).count() == 1

    def test_a_number_of_somebody_else_s_is_refused(self, cast: Cast) -> None:
        number = add(cast).pk
        with pytest.raises(Conflict):
            add(cast, cast.other_volunteer, number)

    def test_a_day_to_come_is_refused_at_its_field(self, cast: Cast) -> None:
        with pytest.raises(NotPossible) as refused:
            add(cast, day=days_ago(-1))
        assert refused.value.field == "day"
        assert add(cast, day=timezone.localdate()).hours == Decimal("1.5")

    @pytest.mark.parametrize("hours", ["0", "16.25"])
    def test_the_database_keeps_no_more_than_a_day_holds(self, cast: Cast, hours: str) -> None:
        with pytest.raises(IntegrityError), transaction.atomic():
            add(cast, hours=Decimal(hours))

    def test_only_one_s_own_is_taken_back(self, cast: Cast) -> None:
        entry = add(cast)
        with pytest.raises(ValueError, match="themselves alone"):
            records.remove_hours(person=cast.person("coordinator"), entry=entry)
        records.remove_hours(person=cast.person("volunteer"), entry=entry)
        assert not OtherHours.objects.of_group(cast.group).exists()
        trail = history_of(membership_of(cast.volunteer, cast.group), cast.group)
        assert [each.verb for each in trail] == ["membership.hours_added", "membership.hours_removed"]
