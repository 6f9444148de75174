"""What the pages of the rota show to whom."""

from __future__ import annotations

from typing import Any

import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse

from portal.accounts.models import User
from surveys.models import Site
from surveys.people.models import Minor
from surveys.rota.models import CalendarFeed, CoverOffer, PlannedVisit, Proposal, SwapOffer
from tests.conftest import Cast
from tests.factories import days_ago, submit
from tests.rota.conftest import ahead
from tests.rota.making import plan, put_on, the_desk

pytestmark = pytest.mark.django_db


def text(user: User, name: str, *args: Any) -> str:
    client = Client()
    client.force_login(user)
    answer = client.get(reverse(name, args=args))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def rota(cast: Cast, user: User) -> str:
    return text(user, "rota_page", cast.group.slug)


def visit(cast: Cast, user: User, planned: PlannedVisit) -> str:
    return text(user, "planned_visit", cast.group.slug, planned.pk)


def under_age(cast: Cast, user: User) -> None:
    membership = user.memberships.get(group=cast.group)
    Minor.objects.create(membership=membership, until=ahead(900), guardian_name="Gwen", guardian_phone="1")


class TestRotaPage:
    def test_ones_own_visit_stands_first_with_its_buttons(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        put_on(planned, crew.volunteer)
        put_on(planned, crew.other_volunteer, state="accepted")
        own, others = rota(crew, crew.volunteer), rota(crew, crew.coordinator)
        assert "Your visits" in own
        assert "with Owen Example (coming)" in own
        assert "Yes, I can" in own
        assert "Your visits" not in others
        assert "Owen Example (coming), Vera Example (asked, no answer yet)" in others

    def test_who_has_not_said_when_they_can_is_asked_to(self, crew: Cast) -> None:
        words = "You have not said yet when you can go"
        assert words in rota(crew, crew.second_coordinator)
        assert words not in rota(crew, crew.volunteer)

    def test_an_open_place_is_offered_to_whom_it_was_offered(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        CoverOffer.objects.create(planned=planned, user=crew.volunteer)
        assert "Can you step in?" in rota(crew, crew.volunteer)
        assert "Can you step in?" not in rota(crew, crew.other_volunteer)

    def test_a_swap_is_seen_by_all_and_answered_by_one(self, crew: Cast, second_site: Site) -> None:
        mine = put_on(plan(crew.site, ahead(3)), crew.volunteer)
        yours = put_on(plan(second_site, ahead(9)), crew.other_volunteer)
        SwapOffer.objects.create(group=crew.group, mine=mine, yours=yours)
        for user, may_answer in ((crew.other_volunteer, True), (crew.coordinator, False)):
            page = rota(crew, user)
            assert "Vera Example offers AB1 Stepping stones" in page
            assert ("Answer Vera Example" in page) is may_answer

    def test_what_became_of_a_visit_is_said_in_words(self, crew: Cast, second_site: Site) -> None:
        plan(crew.site, days_ago(1))
        submit(crew.person("volunteer"), crew.site)
        plan(second_site, days_ago(10))
        plan(crew.site, ahead(9), state="cancelled")
        page = rota(crew, crew.volunteer)
        for words in ("</svg>made<", "</svg>nothing recorded<", "</svg>called off<"):
            assert words in page

    def test_a_draft_is_not_shown(self, crew: Cast) -> None:
        plan(crew.site, ahead(3), state="draft", published_at=None)
        for user in (crew.volunteer, crew.coordinator):
            assert "Nothing is planned." in rota(crew, user)

    def test_only_coordinators_find_the_way_to_the_draft(self, crew: Cast) -> None:
        assert "Propose and publish" in rota(crew, crew.coordinator)
        assert "Propose and publish" not in rota(crew, crew.volunteer)

    def test_only_minors_are_marked(self, crew: Cast) -> None:
        under_age(crew, crew.volunteer)
        planned = plan(crew.site, ahead(3))
        put_on(planned, crew.volunteer)
        assert "an adult is needed" in rota(crew, crew.coordinator)
        assert "Until an adult is, it does not take place" in visit(crew, crew.coordinator, planned)
        put_on(planned, crew.other_volunteer)
        assert "an adult is needed" not in rota(crew, crew.coordinator)


class TestPlannedVisit:
    def test_a_site_closed_since_then_is_said_to_be(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3), people_needed=1)
        put_on(planned, crew.volunteer)
        crew.site.closed_on = ahead(1)
        crew.site.save()
        assert "Nobody goes there that day: it closes on" in visit(crew, crew.volunteer, planned)
        assert "nobody may go" in rota(crew, crew.volunteer)
        desk = the_desk(crew, "coordinator")
        assert [each.planned for each in desk.uncovered] == [planned]

    def test_a_volunteer_reads_and_a_coordinator_changes(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        put_on(planned, crew.other_volunteer, why="Lives about 3 km away.")
        mine, theirs = visit(crew, crew.volunteer, planned), visit(crew, crew.coordinator, planned)
        for words in ("Take off", "Move the visit", "Call it off", "Ask everybody who can", "3 km away"):
            assert words in theirs
            assert words not in mine
        assert "Owen Example" in mine

    def test_members_who_can_stand_first_in_the_choice(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        put_on(planned, crew.coordinator, state="declined")
        page = visit(crew, crew.coordinator, planned)
        order = [
            "Owen Example: can<",
            "Vera Example: can<",
            "Cole Example: has not said when they can",
            "Cora Example: has said that they cannot",
        ]
        places = [page.index(words) for words in order]
        assert places == sorted(places)

    def test_the_past_is_only_read(self, crew: Cast) -> None:
        planned = plan(crew.site, days_ago(2))
        put_on(planned, crew.volunteer, state="accepted")
        for user in (crew.volunteer, crew.coordinator):
            page = visit(crew, user, planned)
            assert "I cannot" not in page
            assert "Call it off" not in page

    def test_it_leads_to_the_visit_that_was_recorded(self, crew: Cast) -> None:
        planned = plan(crew.site, days_ago(2))
        recorded = submit(crew.person("volunteer"), crew.site)
        page = visit(crew, crew.volunteer, planned)
        assert reverse("visit_detail", args=[crew.group.slug, recorded.pk]) in page

    def test_why_it_was_called_off_is_read(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(2), state="cancelled", cancelled_why="Sheep dip next door.")
        assert "Sheep dip next door." in visit(crew, crew.volunteer, planned)


class TestDraftPage:
    def draft(self, cast: Cast) -> str:
        return text(cast.coordinator, "rota_draft", cast.group.slug)

    def test_it_says_why_places_are_open_and_what_is_left_out(self, crew: Cast) -> None:
        because = "2 places are open: 2 are not trained."
        plan(crew.site, ahead(3), state="draft", published_at=None, open_because=because)
        Proposal.objects.create(
            group=crew.group,
            made_by=crew.coordinator,
            first_day=ahead(1),
            last_day=ahead(28),
            left_out=["AB2, due 3 May, is not planned: it is out of its season."],
            is_best=False,
        )
        page = self.draft(crew)
        for words in (
            because,
            "2 places open",
            "out of its season",
            "Last proposed by Cora Example",
            "The time was too short",
            "Have not said when they can, so are not proposed: Cole Example.",
        ):
            assert words in page

    def test_people_for_open_places_of_published_visits_are_listed_apart(self, crew: Cast) -> None:
        put_on(plan(crew.site, ahead(3)), crew.volunteer, state="proposed", why="Lives about 3 km away.")
        page = self.draft(crew)
        assert "Proposed for open places of published visits" in page
        assert "Lives about 3 km away." in page
        assert "Publish and tell everybody" in page

    def test_with_nothing_drafted_there_is_nothing_to_publish(self, crew: Cast) -> None:
        page = self.draft(crew)
        assert "There is no draft." in page
        assert "Publish and tell everybody" not in page


class TestOwnPage:
    def test_it_says_why_each_thing_is_asked(self, cast: Cast) -> None:
        page = text(cast.volunteer, "availability_edit", cast.group.slug)
        for words in ("Why it is asked", "Not your address", "never proposed for more", "0 for no reminders"):
            assert words in page

    def test_addresses_of_calendars_are_shown_to_whom_they_belong(self, cast: Cast) -> None:
        CalendarFeed.objects.create(user=cast.volunteer)
        CalendarFeed.objects.create(group=cast.group)
        mine = text(cast.volunteer, "availability_edit", cast.group.slug)
        other = text(cast.other_volunteer, "availability_edit", cast.group.slug)
        assert mine.count(".ics") == 2
        assert other.count(".ics") == 1
        assert "Make a new address for the group" not in mine
        boss = text(cast.coordinator, "availability_edit", cast.group.slug)
        assert "Make a new address for the group" in boss

    def test_what_one_has_said_stands_there_again(self, crew: Cast) -> None:
        page = text(crew.volunteer, "availability_edit", crew.group.slug)
        assert page.count("checked") >= 7


def test_the_desk_part_is_drawn_from_what_desk_of_gives(crew: Cast, rf: Any) -> None:
    mine, open_one = plan(crew.site, ahead(3)), plan(crew.site, ahead(30))
    put_on(mine, crew.coordinator)
    CoverOffer.objects.create(planned=open_one, user=crew.coordinator)
    plan(crew.site, ahead(60), state="draft", published_at=None)
    context = {
        "rota": the_desk(crew, "coordinator"),
        "current_group": crew.group,
        "group": crew.group,
    }
    part = " ".join(render_to_string("rota/_desk.html", context, request=rf.get("/")).split())
    for words in ("Take the place", "Not covered", "1 visit is a draft", "Cora Example (asked"):
        assert words in part
    context["rota"] = the_desk(crew, "second_coordinator")
    assert "Say when you can go" in render_to_string("rota/_desk.html", context, request=rf.get("/"))
