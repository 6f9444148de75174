"""What the database itself refuses, whatever a service or a script tries."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, models, transaction
from django.db.models.deletion import ProtectedError

from portal.accounts.scoping import UnscopedQuery
from surveys.models import Site
from surveys.rota.models import (
    Assignment,
    Availability,
    CalendarFeed,
    CoverOffer,
    NamedDays,
    PlannedVisit,
    SwapOffer,
)
from tests.conftest import Cast
from tests.factories import SiteFactory
from tests.rota.conftest import ahead
from tests.rota.making import offer_days, plan, put_on

pytestmark = pytest.mark.django_db


def refused(make: Any, name: str) -> None:
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        make()


def test_nobody_is_down_for_two_visits_on_one_day(cast: Cast) -> None:
    put_on(plan(cast.site, ahead(3)), cast.volunteer)
    second = plan(cast.neighbour_site, ahead(3))
    refused(lambda: put_on(second, cast.volunteer, state="accepted"), "nobody_twice_a_day")
    put_on(second, cast.volunteer, state="proposed")


def test_whoever_no_longer_goes_leaves_the_day_free(cast: Cast) -> None:
    put_on(plan(cast.site, ahead(3)), cast.volunteer, state="declined")
    put_on(plan(cast.neighbour_site, ahead(3)), cast.volunteer)


def test_a_person_has_one_row_for_a_visit(cast: Cast) -> None:
    planned = plan(cast.site, ahead(3))
    put_on(planned, cast.volunteer, state="declined")
    refused(lambda: put_on(planned, cast.volunteer), "assignment_once_a_person")


def test_a_site_has_one_visit_a_day_unless_the_other_is_called_off(cast: Cast) -> None:
    plan(cast.site, ahead(3), state="cancelled")
    plan(cast.site, ahead(3))
    refused(lambda: plan(cast.site, ahead(3), state="draft"), "one_planned_visit_a_site_and_day")


@pytest.mark.parametrize(
    ("facts", "name"),
    [
        ({"window_from": ahead(4)}, "planned_visit_within_its_window"),
        ({"window_until": ahead(2)}, "planned_visit_within_its_window"),
        ({"people_needed": 0}, "planned_visit_people_from_one_to_four"),
        ({"people_needed": 5}, "planned_visit_people_from_one_to_four"),
    ],
)
def test_a_planned_visit_that_cannot_be(cast: Cast, facts: dict[str, Any], name: str) -> None:
    refused(lambda: plan(cast.site, ahead(3), **facts), name)


@pytest.mark.parametrize(
    ("facts", "name"),
    [
        ({"people_needed": 5}, "site_people_from_one_to_four"),
        ({"season_first_month": 4}, "site_season_whole_or_none"),
    ],
)
def test_a_site_that_cannot_be_on_a_rota(cast: Cast, facts: dict[str, Any], name: str) -> None:
    refused(lambda: SiteFactory(group=cast.group, **facts), name)


def test_half_a_home_is_none(cast: Cast) -> None:
    refused(lambda: offer_days(cast.group, cast.volunteer, latitude=54), "availability_home_whole_or_none")


def test_a_member_says_once_when_they_can(cast: Cast) -> None:
    own = offer_days(cast.group, cast.volunteer)
    refused(lambda: offer_days(cast.group, cast.volunteer), "availability_once_a_member")
    days = {"kind": "away", "first_day": ahead(2), "last_day": ahead(1)}
    refused(lambda: NamedDays.objects.create(availability=own, **days), "named_days_in_order")


def test_a_calendar_is_a_persons_or_a_groups_and_has_one_address(cast: Cast) -> None:
    feeds = CalendarFeed.objects
    refused(lambda: feeds.create(), "feed_of_a_person_or_a_group")
    refused(lambda: feeds.create(user=cast.volunteer, group=cast.group), "feed_of_a_person_or_a_group")
    feeds.create(user=cast.volunteer)
    feeds.create(group=cast.group)
    refused(lambda: feeds.create(user=cast.volunteer), "one_feed_a_person")
    refused(lambda: feeds.create(group=cast.group), "one_feed_a_group")


def test_one_place_is_offered_once_for_another_and_never_for_itself(cast: Cast) -> None:
    first = put_on(plan(cast.site, ahead(3)), cast.volunteer)
    second = put_on(plan(cast.site, ahead(20)), cast.other_volunteer)
    swaps = SwapOffer.objects
    swaps.create(group=cast.group, mine=first, yours=second)
    refused(lambda: swaps.create(group=cast.group, mine=first, yours=second), "one_open_swap_of_two_places")
    refused(lambda: swaps.create(group=cast.group, mine=first, yours=first), "swap_of_two_places")


def test_one_person_is_offered_a_place_once(cast: Cast) -> None:
    planned = plan(cast.site, ahead(3))
    CoverOffer.objects.create(planned=planned, user=cast.volunteer)
    refused(
        lambda: CoverOffer.objects.create(planned=planned, user=cast.volunteer), "cover_offer_once_a_person"
    )


def test_a_site_with_planned_visits_is_not_deleted_with_them(cast: Cast, second_site: Site) -> None:
    plan(second_site, ahead(3))
    with pytest.raises(ProtectedError):
        second_site.delete()


@pytest.mark.parametrize(
    "model", [Availability, NamedDays, PlannedVisit, Assignment, CoverOffer, SwapOffer, CalendarFeed]
)
def test_no_row_is_read_without_naming_its_group(model: type[models.Model]) -> None:
    manager: Any = model._default_manager
    with pytest.raises(UnscopedQuery):
        list(manager.all())


def test_a_week_begins_on_its_monday(cast: Cast) -> None:
    planned = plan(cast.site, ahead(3))
    assert planned.week_begins.weekday() == 0
    assert timedelta(0) <= planned.day - planned.week_begins < timedelta(days=7)
