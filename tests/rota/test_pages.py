"""Pages of the rota: what they say, what they take, and how often they ask the database."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.formats import date_format

from portal.accounts.models import User
from portal.audit.services import history_of
from portal.jobs.models import Job
from portal.jobs.working import work_off
from surveys.errors import NotPossible
from surveys.models import Site
from surveys.rota.links import CALENDAR, COVER, PLACE, SWAP
from surveys.rota.models import Availability, CalendarFeed, CoverOffer, NamedDays, PlannedVisit, SwapOffer
from surveys.rota.queries import people_free, plans
from surveys.rota.services.availability import add_named_days, save_availability
from tests.access.ceilings import CEILINGS
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago, member_of, submit
from tests.rota.conftest import ahead, names_on, state_of
from tests.rota.making import offer_days, plan, put_on, the_desk

pytestmark = pytest.mark.django_db


def ask(user: User | None, name: str, *args: Any, data: dict[str, Any] | None = None) -> Any:
    client = Client()
    if user is not None:
        client.force_login(user)
    address = reverse(name, args=args)
    return client.get(address) if data is None else client.post(address, data)


def filled(cast: Cast, rows: int) -> dict[str, tuple[User | None, list[Any]]]:
    """The pages with so many rows of everything, by name with their reader and arguments."""
    sites = [SiteFactory(group=cast.group) for _each in range(rows)]
    people = [member_of(cast.group) for _each in range(rows)]
    for number, (site, user) in enumerate(zip(sites, people, strict=True)):
        planned = plan(site, ahead(10 + number))
        put_on(planned, user)
        draft = plan(site, ahead(60 + number), state="draft", published_at=None)
        put_on(draft, user, state="proposed")
        CoverOffer.objects.create(planned=planned, user=cast.volunteer)
        offer_days(cast.group, user)
    planned = plan(cast.site, ahead(3), people_needed=4)
    place = put_on(planned, cast.volunteer)
    offer = CoverOffer.objects.create(planned=planned, user=cast.coordinator)
    theirs = put_on(plan(cast.site, ahead(40)), cast.other_volunteer)
    swap = SwapOffer.objects.create(group=cast.group, mine=theirs, yours=place)
    feed = CalendarFeed.objects.create(group=cast.group)
    slug = cast.group.slug
    return {
        "rota_page": (cast.volunteer, [slug]),
        "planned_visit": (cast.coordinator, [slug, planned.pk]),
        "rota_draft": (cast.coordinator, [slug]),
        "availability_edit": (cast.volunteer, [slug]),
        "rota_link": (None, [PLACE.make(place.pk)]),
        "cover_link": (None, [COVER.make(offer.pk)]),
        "swap_link": (None, [SWAP.make(swap.pk)]),
        "rota_calendar": (None, [CALENDAR.make(feed.pk)]),
    }


def cost(user: User | None, name: str, args: list[Any]) -> int:
    client = Client()
    if user is not None:
        client.force_login(user)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert client.get(reverse(name, args=args)).status_code == 200, name
    return len(asked)


def test_every_page_asks_a_fixed_number_of_times(crew: Cast) -> None:
    few = {name: cost(user, name, args) for name, (user, args) in filled(crew, 2).items()}
    for model in (SwapOffer, CoverOffer, CalendarFeed):
        model.objects.across_groups("test").delete()
    PlannedVisit.objects.across_groups("test").delete()
    many = {name: cost(user, name, args) for name, (user, args) in filled(crew, 12).items()}
    assert few == many
    assert {name: number for name, number in many.items() if number > CEILINGS[name]} == {}


def test_the_desk_asks_a_fixed_number_of_times(crew: Cast) -> None:
    costs = []
    for rows in (1, 9):
        filled(crew, rows)
        with CaptureQueriesContext(connection) as asked:
            desk = the_desk(crew, "coordinator")
        costs.append(len(asked))
        assert desk.uncovered
        CalendarFeed.objects.across_groups("test").delete()
        SwapOffer.objects.across_groups("test").delete()
        PlannedVisit.objects.across_groups("test").delete()
    assert costs[0] == costs[1] <= 4


class TestDesk:
    def test_it_shows_ones_own_visits_and_what_one_may_take(self, crew: Cast) -> None:
        mine, open_one = plan(crew.site, ahead(3)), plan(crew.site, ahead(9))
        put_on(mine, crew.volunteer)
        CoverOffer.objects.create(planned=open_one, user=crew.volunteer)
        desk = the_desk(crew, "volunteer")
        assert [each.planned for each in desk.own] == [mine]
        assert [each.planned for each in desk.covers] == [open_one]
        assert (desk.uncovered, desk.drafts, desk.has_said_when) == ([], 0, True)

    def test_a_coordinator_sees_what_is_uncovered_and_not_published(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        plan(crew.site, ahead(50), state="draft", published_at=None)
        desk = the_desk(crew, "second_coordinator")
        assert [each.planned for each in desk.uncovered] == [planned]
        assert (desk.drafts, desk.has_said_when, desk.is_empty) == (1, False, False)

    def test_a_place_that_was_taken_is_offered_no_more(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3), people_needed=1)
        CoverOffer.objects.create(planned=planned, user=crew.volunteer)
        put_on(planned, crew.coordinator)
        assert the_desk(crew, "volunteer").covers == []


class TestOutcomes:
    def outcome(self, cast: Cast) -> str:
        (found,) = plans(cast.group, ahead(0), "published")
        return found.outcome

    def test_a_visit_recorded_near_the_day_answers_the_plan_by_itself(self, crew: Cast) -> None:
        plan(crew.site, days_ago(5))
        visit = submit(crew.person("volunteer"), crew.site, visited_on=days_ago(2).isoformat())
        (found,) = plans(crew.group, ahead(0), "published")
        assert (found.outcome, found.recorded_id) == ("made", visit.pk)

    def test_one_that_was_not_made_says_why(self, crew: Cast) -> None:
        plan(crew.site, days_ago(1))
        facts = {
            "was_made": False,
            "not_made_reason": "too_high",
            "counts": {},
            "spots": [],
            "measurements": {},
        }
        submit(crew.person("volunteer"), crew.site, **facts)
        (found,) = plans(crew.group, ahead(0), "published")
        assert found.outcome == "not_made"
        assert "too high" in found.not_made_because

    def test_one_recorded_far_from_the_day_answers_nothing(self, crew: Cast) -> None:
        plan(crew.site, days_ago(9))
        submit(crew.person("volunteer"), crew.site, visited_on=days_ago(1).isoformat())
        assert self.outcome(crew) == "missed"

    def test_what_lacks_people_is_open(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        put_on(planned, crew.volunteer)
        assert self.outcome(crew) == "open"
        put_on(planned, crew.coordinator)
        assert self.outcome(crew) == "coming"


class TestAvailability:
    def save(self, cast: Cast, **data: Any) -> Any:
        usual = {"weekdays": ["5", "6"], "most_a_month": "3", "remind_days": "2"}
        return ask(cast.volunteer, "availability_edit", cast.group.slug, data=usual | data)

    def own(self, cast: Cast) -> Availability:
        return Availability.objects.of_group(cast.group).get(user=cast.volunteer)

    def test_it_is_saved_with_a_place_no_finer_than_a_kilometre(self, cast: Cast) -> None:
        answer = self.save(cast, home="54.43871, -2.59126", travel_km="15", near_sites=[str(cast.site.pk)])
        assert answer.status_code == 302
        own = self.own(cast)
        assert (own.weekdays, own.most_a_month, own.travel_km) == ([5, 6], 3, 15)
        assert (str(own.latitude), str(own.longitude)) == ("54.44", "-2.59")
        assert list(own.near_sites.all()) == [cast.site]

    def test_the_trail_does_not_hold_where_somebody_lives(self, cast: Cast) -> None:
        self.save(cast, home="54.43, -2.59", travel_km="15")
        self.save(cast, home="54.99, -2.11", travel_km="15")
        trail = str([each.changes for each in history_of(self.own(cast), cast.group)])
        assert "54" not in trail
        assert "travel_km" in trail

    @pytest.mark.parametrize(
        ("field", "value", "words"),
        [
            ("home", "over the hill", "no location we can read"),
            ("most_a_month", "0", "greater than or equal to 1"),
            ("remind_days", "99", "less than or equal to 14"),
            ("weekdays", "9", "valid choice"),
        ],
    )
    def test_a_mistake_is_told_at_its_field_and_nothing_is_lost(
        self, cast: Cast, field: str, value: str, words: str
    ) -> None:
        answer = self.save(cast, **{"travel_km": "17", "home": "54.4, -2.5", field: value})
        assert answer.status_code == 422
        assert words in str(answer.context["form"].errors[field])
        assert 'value="17"' in answer.content.decode()

    def test_a_distance_needs_a_place_to_measure_from(self, cast: Cast) -> None:
        answer = self.save(cast, travel_km="17", home="")
        assert "rough place" in str(answer.context["form"].errors["home"])

    def test_days_are_added_and_taken_off(self, cast: Cast) -> None:
        slug, day = cast.group.slug, ahead(4)
        data = {"kind": "away", "first_day": day.isoformat(), "last_day": ""}
        assert ask(cast.volunteer, "named_days_add", slug, data=data).status_code == 302
        days = NamedDays.objects.of_group(cast.group).get()
        assert (days.first_day, days.last_day) == (day, day)
        assert ask(cast.other_volunteer, "named_days_remove", slug, days.pk, data={}).status_code == 404
        assert ask(cast.volunteer, "named_days_remove", slug, days.pk, data={}).status_code == 302
        assert not NamedDays.objects.of_group(cast.group).exists()

    @pytest.mark.parametrize(
        ("first", "last", "field"), [(5, 4, "last_day"), (-9, -8, "first_day"), (5, 999, "last_day")]
    )
    def test_days_that_cannot_be_are_told_at_their_field(
        self, cast: Cast, first: int, last: int, field: str
    ) -> None:
        data = {"kind": "can", "first_day": ahead(first).isoformat(), "last_day": ahead(last).isoformat()}
        answer = ask(cast.volunteer, "named_days_add", cast.group.slug, data=data)
        assert answer.status_code == 422
        assert field in answer.context["days_form"].errors

    def test_there_is_an_end_to_single_days(self, cast: Cast) -> None:
        own = save_availability(person=cast.person("volunteer"), group=cast.group, fields={})
        NamedDays.objects.bulk_create(
            NamedDays(availability=own, kind="can", first_day=ahead(n), last_day=ahead(n)) for n in range(60)
        )
        with pytest.raises(NotPossible, match="many entries"):
            add_named_days(
                person=cast.person("volunteer"),
                group=cast.group,
                kind="can",
                first_day=ahead(90),
                last_day=ahead(90),
            )


class TestSteps:
    def test_a_coordinators_evening(self, crew: Cast) -> None:
        slug, cora = crew.group.slug, crew.coordinator
        data = {"first_day": ahead(1).isoformat(), "weeks": "1", "start": "09:30"}
        assert ask(cora, "rota_draft", slug, data=data).status_code == 302
        work_off(Job.objects.of_group(crew.group).get(kind="rota").pk)
        page = ask(cora, "rota_draft", slug)
        assert "visit 1 of at most 4 that month" in page.content.decode()
        planned = page.context["plans"][0].planned
        person = next(iter(page.context["plans"][0].people))
        assert ask(cora, "place_take_off", slug, person.pk, data={}).status_code == 302
        choices = ask(cora, "planned_visit", slug, planned.pk).context["people_form"].fields["user"].choices
        assert "Cole Example: has not said when they can" in dict(choices).values()
        added = ask(cora, "visit_person_add", slug, planned.pk, data={"user": str(crew.second_coordinator.pk)})
        assert added.status_code == 302
        assert "Cole" in names_on(planned)
        assert ask(cora, "rota_publish", slug, data={}).status_code == 302
        moved = ask(cora, "visit_move", slug, planned.pk, data={"day": ahead(5).isoformat(), "start": "11:00"})
        assert moved.status_code == 302
        course = ask(cora, "planned_visit", slug, planned.pk).content.decode()
        moved_to = f"→ {date_format(ahead(5), 'j F Y')}"
        for words in (
            "put somebody down",
            "took somebody off",
            "published",
            "moved",
            moved_to,
            "09:30 → 11:00",
        ):
            assert words in course
        assert ask(cora, "visit_call_off", slug, planned.pk, data={"reason": "Fair."}).status_code == 302
        assert "called off" in ask(crew.volunteer, "rota_page", slug).content.decode()

    @pytest.mark.parametrize(
        ("name", "data", "field"),
        [
            ("rota_draft", {"first_day": "soon", "weeks": "4", "start": "10:00"}, "form"),
            ("rota_visit_add", {"day": "2020-01-01", "start": "10:00", "site": "SITE"}, "visit_form"),
        ],
    )
    def test_a_form_of_the_draft_names_its_mistake(
        self, crew: Cast, name: str, data: dict[str, str], field: str
    ) -> None:
        data = {key: value.replace("SITE", str(crew.site.pk)) for key, value in data.items()}
        answer = ask(crew.coordinator, name, crew.group.slug, data=data)
        assert answer.status_code == 422
        assert answer.context[field].errors

    @pytest.mark.parametrize(
        ("name", "data"),
        [
            ("visit_move", {"day": "2020-01-01", "start": "10:00"}),
            ("visit_person_add", {"user": "nobody"}),
            ("visit_call_off", {"reason": "x" * 301}),
        ],
    )
    def test_a_form_of_a_visit_names_its_mistake(self, crew: Cast, name: str, data: dict[str, str]) -> None:
        planned = plan(crew.site, ahead(3))
        assert ask(crew.coordinator, name, crew.group.slug, planned.pk, data=data).status_code == 422

    def test_a_draft_is_nobodys_business_but_the_coordinators(self, crew: Cast) -> None:
        draft = plan(crew.site, ahead(3), state="draft", published_at=None)
        assert ask(crew.volunteer, "planned_visit", crew.group.slug, draft.pk).status_code == 404
        assert ask(crew.coordinator, "planned_visit", crew.group.slug, draft.pk).status_code == 200

    def test_a_member_answers_swaps_and_takes_on_the_pages(self, crew: Cast, second_site: Site) -> None:
        slug = crew.group.slug
        mine = put_on(plan(crew.site, ahead(3)), crew.volunteer)
        yours = put_on(plan(second_site, ahead(9)), crew.other_volunteer)
        assert ask(crew.volunteer, "place_accept", slug, mine.pk, data={}).status_code == 302
        swapped = ask(crew.volunteer, "place_swap", slug, mine.pk, data={"yours": str(yours.pk)})
        assert swapped.status_code == 302
        page = ask(crew.other_volunteer, "rota_page", slug).content.decode()
        assert "Answer Vera Example" in page
        assert ask(crew.volunteer, "place_decline", slug, mine.pk, data={}).status_code == 302
        assert state_of(mine) == "declined"
        offer = CoverOffer.objects.of_group(crew.group).get(user=crew.coordinator)
        assert ask(crew.coordinator, "cover_take", slug, offer.pk, data={}).status_code == 302
        assert names_on(mine.planned) == {"Cora"}
        assert ask(crew.coordinator, "visit_cover_ask", slug, mine.planned_id, data={}).status_code == 302


def test_people_free_are_those_who_can_and_are_not_elsewhere(crew: Cast) -> None:
    put_on(plan(crew.neighbour_site, ahead(2)), crew.volunteer)
    assert [each.name for each in people_free(crew.group, ahead(2), ahead(2))] == [
        "Cora Example",
        "Owen Example",
    ]
    assert len(people_free(crew.group, ahead(2), ahead(3))) == 3
