"""Pages behind the links of the rota's mails, in every state of what they name."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.http import Http404
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.accounts.models import Membership
from portal.accounts.signed_links import DeadLink
from surveys.models import Site
from surveys.rota.links import (
    CALENDAR,
    COVER,
    PLACE,
    SWAP,
    cover_url,
    place_url,
    read_cover,
    read_feed,
    read_place,
    read_swap,
    swap_url,
)
from surveys.rota.models import Assignment, CalendarFeed, CoverOffer, SwapOffer
from tests.conftest import Cast
from tests.factories import days_ago, submit
from tests.rota.conftest import ahead, state_of
from tests.rota.making import plan, put_on

pytestmark = pytest.mark.django_db
READERS = {
    "rota_link": read_place,
    "cover_link": read_cover,
    "swap_link": read_swap,
    "rota_calendar": read_feed,
}
SIGNED = {"rota_link": PLACE, "cover_link": COVER, "swap_link": SWAP, "rota_calendar": CALENDAR}


def page(name: str, row: Any) -> str:
    answer = Client().get(reverse(name, args=[SIGNED[name].make(row.pk)]))
    assert answer.status_code == 200
    return str(answer.content.decode())


def post(name: str, row: Any, **data: str) -> Any:
    base = name.rsplit("_", 1)[0]
    return Client().post(reverse(name, args=[SIGNED[base].make(row.pk)]), data, follow=True)


@pytest.fixture
def rows(crew: Cast, second_site: Site) -> dict[str, Any]:
    """What each kind of link names; Vera is whom all of them were sent to."""
    first, second = plan(crew.site, ahead(3)), plan(second_site, ahead(9))
    vera = put_on(first, crew.volunteer)
    owen = put_on(second, crew.other_volunteer)
    return {
        "rota_link": vera,
        "cover_link": CoverOffer.objects.create(planned=second, user=crew.volunteer),
        "swap_link": SwapOffer.objects.create(group=crew.group, mine=owen, yours=vera),
        "rota_calendar": CalendarFeed.objects.create(user=crew.volunteer),
    }


class TestTokens:
    @pytest.mark.parametrize("name", sorted(READERS))
    def test_a_link_opens_what_it_names(self, rows: dict[str, Any], name: str) -> None:
        assert READERS[name](SIGNED[name].make(rows[name].pk)) == rows[name]

    @pytest.mark.parametrize("name", sorted(READERS))
    def test_what_was_signed_for_one_purpose_opens_nothing_of_another(
        self, rows: dict[str, Any], name: str
    ) -> None:
        for other in set(SIGNED) - {name}:
            with pytest.raises(Http404):
                READERS[name](SIGNED[other].make(rows[name].pk))

    @pytest.mark.parametrize("name", sorted(READERS))
    def test_what_is_gone_is_said_to_be(self, rows: dict[str, Any], name: str) -> None:
        token = SIGNED[name].make(rows[name].pk)
        rows[name].delete()
        with pytest.raises(DeadLink):
            READERS[name](token)
        answer = Client().get(reverse(name, args=[token]))
        assert answer.status_code == 410
        assert "no longer works" in answer.content.decode()

    @pytest.mark.parametrize(("name", "days"), [("rota_link", 201), ("cover_link", 61), ("swap_link", 61)])
    def test_an_old_link_is_dead(self, rows: dict[str, Any], name: str, days: int) -> None:
        token = SIGNED[name].make(rows[name].pk)
        with time_machine.travel(timezone.now() + timedelta(days=days)), pytest.raises(DeadLink):
            READERS[name](token)

    def test_a_calendar_works_as_long_as_it_is_subscribed_to(self, rows: dict[str, Any]) -> None:
        token = CALENDAR.make(rows["rota_calendar"].pk)
        with time_machine.travel(timezone.now() + timedelta(days=4000)):
            assert read_feed(token) == rows["rota_calendar"]

    @pytest.mark.parametrize("name", ["rota_link", "cover_link", "swap_link"])
    def test_who_left_opens_nothing(self, crew: Cast, rows: dict[str, Any], name: str) -> None:
        Membership.objects.of_group(crew.group).filter(user=crew.volunteer).update(left_at=timezone.now())
        with pytest.raises(DeadLink):
            READERS[name](SIGNED[name].make(rows[name].pk))

    def test_addresses_for_mails_are_whole(self, rows: dict[str, Any]) -> None:
        for make, name in ((place_url, "rota_link"), (cover_url, "cover_link"), (swap_url, "swap_link")):
            assert make(rows[name]).startswith("http")


class TestPlace:
    @pytest.mark.parametrize(
        ("state", "words"),
        [
            ("asked", "Yes, I can"),
            ("accepted", "You have said yes."),
            ("declined", "You have said that you cannot."),
            ("removed", "You are no longer down for this visit."),
            ("swapped", "You are no longer down for this visit."),
        ],
    )
    def test_it_says_how_it_stands(self, crew: Cast, state: str, words: str) -> None:
        assert words in page("rota_link", put_on(plan(crew.site, ahead(3)), crew.volunteer, state=state))

    def test_a_visit_made_is_not_answered_any_more(self, crew: Cast) -> None:
        place = put_on(plan(crew.site, days_ago(0)), crew.volunteer)
        submit(crew.person("volunteer"), crew.site)
        text = page("rota_link", place)
        assert "Yes, I can" not in text
        assert "made" in text

    def test_a_visit_called_off_is_not_answered_any_more(self, crew: Cast) -> None:
        place = put_on(plan(crew.site, ahead(3), state="cancelled"), crew.volunteer, state="removed")
        answer = post("rota_link_accept", place)
        assert "not planned any more" in answer.content.decode()
        assert state_of(place) == "removed"

    def test_a_swap_is_offered_for_places_of_others_only(self, rows: dict[str, Any]) -> None:
        text = page("rota_link", rows["rota_link"])
        assert "AB2 Weir pool: Owen Example" in text
        assert "AB1 Stepping stones: Vera Example" not in text

    def test_what_a_swap_would_break_is_told_at_the_choice(self, crew: Cast, rows: dict[str, Any]) -> None:
        put_on(rows["cover_link"].planned, crew.volunteer)
        yours = Assignment.objects.of_group(crew.group).get(user=crew.other_volunteer)
        answer = post("rota_link_swap", rows["rota_link"], yours=str(yours.pk))
        assert answer.status_code == 422
        assert "is down for the other visit already" in answer.content.decode()


class TestCoverAndSwap:
    def test_an_open_place_is_taken_and_then_is_mine(self, rows: dict[str, Any]) -> None:
        assert "I take the place" in page("cover_link", rows["cover_link"])
        assert "The place is yours." in post("cover_link_take", rows["cover_link"]).content.decode()

    def test_a_place_taken_by_another_asks_nothing_more(self, crew: Cast, rows: dict[str, Any]) -> None:
        put_on(rows["cover_link"].planned, crew.coordinator)
        assert "No place is open any more." in page("cover_link", rows["cover_link"])
        assert "quicker" in post("cover_link_take", rows["cover_link"]).content.decode()

    def test_a_swap_shows_both_visits_and_takes_either_answer(self, rows: dict[str, Any]) -> None:
        text = page("swap_link", rows["swap_link"])
        assert text.index("Weir pool") < text.index("Stepping stones")
        assert "refused" in post("swap_link_refuse", rows["swap_link"]).content.decode()
        assert "not offered any more" in post("swap_link_agree", rows["swap_link"]).content.decode()

    def test_agreed_it_says_so(self, rows: dict[str, Any]) -> None:
        assert "you have changed places" in post("swap_link_agree", rows["swap_link"]).content.decode()

    @pytest.mark.parametrize("name", ["rota_link", "cover_link", "swap_link"])
    def test_no_page_behind_a_link_tells_hazards_or_addresses(
        self, crew: Cast, rows: dict[str, Any], name: str
    ) -> None:
        for site in (crew.site, rows["cover_link"].planned.site):
            site.hazards, site.access_notes = "A bull.", "Key under the pot."
            site.save()
        text = page(name, rows[name])
        for secret in ("bull", "Key under", "@example.org"):
            assert secret not in text
        assert "never alone" in text
