"""Answers, cover and swaps: by link or signed in, first come first served, nobody where they must not be."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.accounts.walls import carried
from portal.audit.services import history_of
from surveys.errors import NotPossible
from surveys.models import Site
from surveys.people.models import Minor
from surveys.rota.links import COVER, PLACE, SWAP
from surveys.rota.models import Assignment, CoverOffer, SwapOffer
from surveys.rota.services import answers, leavers
from surveys.rota.services.answers import accept_place, ask_for_cover, decline_place, take_cover
from surveys.rota.services.leavers import release_places_of_leavers
from surveys.rota.services.swaps import agree_swap, offer_swap, refuse_swap
from surveys.rota.tasks import remind
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago
from tests.rota.conftest import ahead, mails, names_on, state_of, to_whom
from tests.rota.making import offer_days, plan, put_on

pytestmark = pytest.mark.django_db


def offers(cast: Cast) -> dict[str, CoverOffer]:
    rows = CoverOffer.objects.of_group(cast.group).select_related("user", "planned__group", "planned__site")
    return {each.user.name.split()[0]: each for each in rows}


def swap_of(mine: Assignment, yours: Assignment, cast: Cast) -> SwapOffer:
    return offer_swap(person=cast.person("volunteer"), mine=mine, yours=yours)


class TestAnswers:
    def test_yes_is_noted_once(self, crew: Cast) -> None:
        place = put_on(plan(crew.site, ahead(3)), crew.volunteer)
        for _twice in range(2):
            accept_place(person=crew.person("volunteer"), place=place)
        assert state_of(place) == "accepted"
        assert [each.verb for each in history_of(place.planned, crew.group)] == ["rota.accepted"]

    def test_nobody_answers_for_another(self, crew: Cast) -> None:
        place = put_on(plan(crew.site, ahead(3)), crew.volunteer)
        with pytest.raises(PermissionDenied):
            accept_place(person=crew.person("coordinator"), place=place)

    def test_i_cannot_opens_the_place_and_asks_those_who_can(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        place = put_on(planned, crew.volunteer)
        put_on(planned, crew.coordinator)
        for _twice in range(2):
            decline_place(person=crew.person("volunteer"), place=place)
        assert state_of(place) == "declined"
        assert to_whom("rota.cover") == {"owen"}
        assert mails("rota.uncovered") == []

    def test_where_nobody_can_the_coordinators_are_told(self, cast: Cast) -> None:
        place = put_on(plan(cast.site, ahead(3)), cast.volunteer)
        decline_place(person=cast.person("volunteer"), place=place)
        assert to_whom("rota.uncovered") == {"cora", "cole"}

    def test_the_past_is_not_answered(self, crew: Cast) -> None:
        place = put_on(plan(crew.site, days_ago(1)), crew.volunteer)
        with pytest.raises(NotPossible, match="past"):
            accept_place(person=crew.person("volunteer"), place=place)


class TestCover:
    def opened(self, cast: Cast) -> dict[str, CoverOffer]:
        """Vera cannot; Owen and Cora are asked for her place, and nobody is down."""
        place = put_on(plan(cast.site, ahead(3), people_needed=1), cast.volunteer)
        decline_place(person=cast.person("volunteer"), place=place)
        return offers(cast)

    def test_who_takes_it_first_has_it(self, crew: Cast) -> None:
        asked = self.opened(crew)
        assert set(asked) == {"Owen", "Cora"}
        for _twice in range(2):
            take_cover(person=crew.person("other_volunteer"), offer=asked["Owen"])
        with pytest.raises(NotPossible, match="quicker"):
            take_cover(person=crew.person("coordinator"), offer=asked["Cora"])
        assert names_on(asked["Owen"].planned) == {"Owen"}

    def test_the_others_on_the_visit_hear_who_goes_with_them(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        put_on(planned, crew.coordinator, state="accepted")
        decline_place(person=crew.person("volunteer"), place=put_on(planned, crew.volunteer))
        take_cover(person=crew.person("other_volunteer"), offer=offers(crew)["Owen"])
        opened, told = mails("rota.changed")
        assert opened.to_address == told.to_address == "cora@example.org"
        assert "Nobody goes alone" in opened.text
        assert "Owen Example has stepped in" in told.text

    def test_who_goes_elsewhere_by_now_cannot_take_it(self, crew: Cast) -> None:
        asked = self.opened(crew)
        put_on(plan(crew.neighbour_site, ahead(3)), crew.other_volunteer)
        with pytest.raises(NotPossible, match="another site"):
            take_cover(person=crew.person("other_volunteer"), offer=asked["Owen"])

    def test_a_minor_is_not_asked_where_no_adult_goes(self, crew: Cast) -> None:
        membership = crew.other_volunteer.memberships.get(group=crew.group)
        Minor.objects.create(membership=membership, until=ahead(900), guardian_name="Gwen", guardian_phone="1")
        assert set(self.opened(crew)) == {"Cora"}

    def test_a_coordinator_asks_again_and_a_new_mail_goes_out(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        for number in (1, 2):
            assert ask_for_cover(person=crew.person("coordinator"), planned=planned) == 3
            assert len(mails("rota.cover")) == 3 * number

    def test_a_full_visit_needs_no_cover(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3), people_needed=1)
        put_on(planned, crew.volunteer)
        with pytest.raises(NotPossible, match="No place is open"):
            ask_for_cover(person=crew.person("coordinator"), planned=planned)

    @pytest.mark.parametrize("why", ["nobody said", "all busy"])
    def test_where_nobody_can_be_asked_it_says_so(self, cast: Cast, why: str) -> None:
        planned = plan(cast.site, ahead(3))
        if why == "all busy":
            offer_days(cast.group, cast.volunteer, weekdays=[])
        with pytest.raises(NotPossible, match="Nobody who said"):
            ask_for_cover(person=cast.person("coordinator"), planned=planned)


def failing_first(act: Callable[..., Any]) -> Callable[..., Any]:
    calls = iter([True])

    def acted(*args: Any) -> Any:
        if next(calls, False):
            raise ValueError
        return act(*args)

    return acted


class TestLeavers:
    def leave(self, cast: Cast) -> Assignment:
        planned = plan(cast.site, ahead(3))
        put_on(planned, cast.coordinator, state="accepted")
        place = put_on(planned, cast.volunteer, state="accepted")
        cast.volunteer.memberships.filter(group=cast.group).update(left_at=timezone.now())
        return place

    def test_the_place_of_who_left_is_opened_once_and_others_are_asked(self, crew: Cast) -> None:
        place = self.leave(crew)
        assert [release_places_of_leavers(), release_places_of_leavers()] == [1, 0]
        assert state_of(place) == "removed"
        assert to_whom("rota.cover") == {"owen"}
        assert to_whom("rota.changed") == {"cora"}
        assert history_of(place.planned, crew.group).get().verb == "planned_visit.person_left"

    def test_nobody_to_ask_is_told_to_the_coordinators(self, cast: Cast) -> None:
        self.leave(cast)
        release_places_of_leavers()
        assert to_whom("rota.uncovered") == {"cora", "cole"}

    def test_the_past_and_those_who_stay_are_left_alone(self, crew: Cast) -> None:
        place = self.leave(crew)
        Assignment.objects.of_group(crew.group).filter(pk=place.pk).update(day=days_ago(1))
        assert release_places_of_leavers() == 0

    def test_trouble_with_one_place_keeps_nobody_from_the_rest(
        self, crew: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        self.leave(crew)
        other = put_on(plan(crew.site, ahead(4)), crew.volunteer, state="accepted")
        coming = plan(crew.site, ahead(1))
        put_on(coming, crew.coordinator, state="accepted")
        monkeypatch.setattr(leavers, "ask_everybody", failing_first(answers.ask_everybody))
        with pytest.raises(RuntimeError, match="1 places"):
            remind()
        assert state_of(other) == "removed"
        assert to_whom("rota.reminder") >= {"cora"}

    def test_the_clock_asks_for_it(self, crew: Cast) -> None:
        place = self.leave(crew)
        remind()
        assert state_of(place) == "removed"


class TestSwaps:
    @pytest.fixture
    def pair(self, crew: Cast, second_site: Site) -> tuple[Assignment, Assignment]:
        first = put_on(plan(crew.site, ahead(3)), crew.volunteer)
        second = put_on(plan(second_site, ahead(9)), crew.other_volunteer, state="accepted")
        return first, second

    def test_nothing_changes_until_the_other_agrees(
        self, crew: Cast, pair: tuple[Assignment, Assignment]
    ) -> None:
        for _twice in range(2):
            swap_of(*pair, crew)
        assert to_whom("rota.swap") == {"owen"}
        assert len(mails("rota.swap")) == 1
        assert [names_on(each.planned) for each in pair] == [{"Vera"}, {"Owen"}]

    def test_agreed_both_change_places_and_are_told(
        self, crew: Cast, pair: tuple[Assignment, Assignment]
    ) -> None:
        swap = swap_of(*pair, crew)
        for _twice in range(2):
            agree_swap(person=crew.person("other_volunteer"), swap=swap)
        assert [names_on(each.planned) for each in pair] == [{"Owen"}, {"Vera"}]
        assert to_whom("rota.changed") == {"vera", "owen"}
        for place in pair:
            assert history_of(place.planned, crew.group).filter(verb="rota.swapped").count() == 1

    def test_back_again_is_another_swap(self, crew: Cast, pair: tuple[Assignment, Assignment]) -> None:
        agree_swap(person=crew.person("other_volunteer"), swap=swap_of(*pair, crew))
        rows = Assignment.objects.of_group(crew.group).select_related("planned__group", "planned__site", "user")
        mine = rows.get(user=crew.volunteer, state="accepted")
        yours = rows.get(user=crew.other_volunteer, state="accepted")
        agree_swap(person=crew.person("other_volunteer"), swap=swap_of(mine, yours, crew))
        assert [names_on(each.planned) for each in pair] == [{"Vera"}, {"Owen"}]

    def test_only_who_was_asked_agrees(self, crew: Cast, pair: tuple[Assignment, Assignment]) -> None:
        swap = swap_of(*pair, crew)
        for step in (agree_swap, refuse_swap):
            with pytest.raises(PermissionDenied):
                step(person=crew.person("volunteer"), swap=swap)

    def test_no_is_told_and_both_stay(self, crew: Cast, pair: tuple[Assignment, Assignment]) -> None:
        swap = swap_of(*pair, crew)
        for _twice in range(2):
            refuse_swap(person=crew.person("other_volunteer"), swap=swap)
        assert "cannot swap" in mails("rota.changed")[0].text
        with pytest.raises(NotPossible, match="not offered any more"):
            agree_swap(person=crew.person("other_volunteer"), swap=swap)

    def test_a_place_given_up_voids_its_swaps(self, crew: Cast, pair: tuple[Assignment, Assignment]) -> None:
        swap = swap_of(*pair, crew)
        decline_place(person=crew.person("volunteer"), place=pair[0])
        assert SwapOffer.objects.of_group(crew.group).get(pk=swap.pk).state == "void"
        with pytest.raises(NotPossible):
            agree_swap(person=crew.person("other_volunteer"), swap=swap)

    def test_a_swap_that_would_put_somebody_in_two_places_is_refused(
        self, crew: Cast, pair: tuple[Assignment, Assignment]
    ) -> None:
        third = SiteFactory(group=crew.group, code="AB3")
        put_on(plan(third, ahead(9)), crew.volunteer)
        with pytest.raises(NotPossible, match="another site"):
            swap_of(*pair, crew)

    def test_a_swap_on_one_day_is_none_of_two_places(self, crew: Cast, second_site: Site) -> None:
        mine = put_on(plan(crew.site, ahead(3)), crew.volunteer)
        yours = put_on(plan(second_site, ahead(3)), crew.other_volunteer)
        agree_swap(person=crew.person("other_volunteer"), swap=swap_of(mine, yours, crew))
        assert names_on(mine.planned) == {"Owen"}

    def test_a_swap_leaves_no_minor_alone(self, crew: Cast, pair: tuple[Assignment, Assignment]) -> None:
        put_on(pair[0].planned, crew.coordinator)
        membership = crew.volunteer.memberships.get(group=crew.group)
        Minor.objects.create(membership=membership, until=ahead(900), guardian_name="Gwen", guardian_phone="1")
        with pytest.raises(NotPossible, match="under 18"):
            swap_of(*pair, crew)


class TestLinks:
    def post(self, name: str, token: str, **data: Any) -> Any:
        return Client().post(reverse(name, args=[token]), data)

    def test_reading_a_link_changes_nothing(self, crew: Cast) -> None:
        place = put_on(plan(crew.site, ahead(3)), crew.volunteer)
        answer = Client().get(reverse("rota_link", args=[PLACE.make(place.pk)]))
        assert answer.status_code == 200
        assert answer["X-Robots-Tag"] == "noindex, nofollow"
        assert state_of(place) == "asked"

    def test_the_whole_of_cover_goes_by_links(self, crew: Cast) -> None:
        place = put_on(plan(crew.site, ahead(3), people_needed=1), crew.volunteer)
        token = PLACE.make(place.pk)
        assert self.post("rota_link_accept", token).status_code == 302
        assert self.post("rota_link_decline", token).status_code == 302
        offer = offers(crew)["Owen"]
        page = Client().get(reverse("cover_link", args=[COVER.make(offer.pk)])).content.decode()
        assert "I take the place" in page
        self.post("cover_link_take", COVER.make(offer.pk))
        assert names_on(place.planned) == {"Owen"}
        again = Client().get(reverse("rota_link", args=[token])).content.decode()
        assert "nothing more is asked of you" in again

    def test_a_swap_chosen_wrongly_is_told_at_its_field(self, crew: Cast) -> None:
        token = PLACE.make(put_on(plan(crew.site, ahead(3)), crew.volunteer).pk)
        answer = self.post("rota_link_swap", token, yours="nonsense")
        assert answer.status_code == 422

    def test_a_link_of_another_purpose_opens_nothing(self, crew: Cast) -> None:
        place = put_on(plan(crew.site, ahead(3)), crew.volunteer)
        for name in ("rota_link", "cover_link", "swap_link", "rota_calendar"):
            wrong = SWAP if name != "swap_link" else COVER
            assert Client().get(reverse(name, args=[wrong.make(place.pk)])).status_code == 404

    def test_who_left_the_group_answers_no_more(self, crew: Cast) -> None:
        place = put_on(plan(crew.site, ahead(3)), crew.volunteer)
        crew.volunteer.memberships.filter(group=crew.group).update(left_at=timezone.now())
        assert self.post("rota_link_accept", PLACE.make(place.pk)).status_code == 410
        assert state_of(place) == "asked"


def at_once(*works: Callable[[], Any]) -> list[BaseException]:
    """Run each in a thread with a connection of its own; return what was raised."""
    raised: list[BaseException] = []
    barrier = threading.Barrier(len(works), timeout=20)

    def run(work: Callable[[], Any]) -> None:
        try:
            barrier.wait()
            work()
        except BaseException as problem:
            raised.append(problem)
        finally:
            connection.close()

    threads = [threading.Thread(target=carried(run), args=(each,)) for each in works]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return raised


@pytest.mark.django_db(transaction=True)
def test_of_two_who_take_a_place_at_once_one_has_it(crew: Cast) -> None:
    planned = plan(crew.site, ahead(3), people_needed=1)
    ask_for_cover(person=crew.person("coordinator"), planned=planned)
    asked = offers(crew)
    vera, owen = crew.person("volunteer"), crew.person("other_volunteer")
    raised = at_once(
        lambda: take_cover(person=vera, offer=asked["Vera"]),
        lambda: take_cover(person=owen, offer=asked["Owen"]),
    )
    assert [type(each) for each in raised] == [NotPossible]
    assert len(names_on(planned)) == 1


@pytest.mark.django_db(transaction=True)
def test_without_the_lock_both_would_have_it(crew: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """The race is real: with the lock taken out, two people stand in one place."""
    planned = plan(crew.site, ahead(3), people_needed=1)
    ask_for_cover(person=crew.person("coordinator"), planned=planned)
    asked, met = offers(crew), threading.Barrier(2, timeout=20)
    monkeypatch.setattr(answers, "locked_plan", lambda found: found)
    monkeypatch.setattr(answers, "require_fit", lambda _planned, _user: met.wait())
    vera, owen = crew.person("volunteer"), crew.person("other_volunteer")
    raised = at_once(
        lambda: take_cover(person=vera, offer=asked["Vera"]),
        lambda: take_cover(person=owen, offer=asked["Owen"]),
    )
    assert raised == []
    assert names_on(planned) == {"Vera", "Owen"}
