"""Signed links: one mechanism for all, and what was sent before it still opens."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import pytest
import time_machine
from django.core.signing import Signer
from django.http import Http404, HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from pytest_django import Settings

import alerts.contacts.links
import surveys.people.links
import surveys.rota.links
from alerts.contacts.links import ALERT
from alerts.repeats.links import OFFER
from alerts.services.drills import DRILL
from portal.accounts import services
from portal.accounts.services import INVITATION
from portal.accounts.signed_links import DeadLink, SignedLink, by_link
from surveys.outings.returns import RETURN
from surveys.people.links import ENQUIRY_LINK
from surveys.rota.links import REMINDERS

SENT = datetime(2026, 5, 4, 10, tzinfo=UTC)
ONE, TWO, THREE = (UUID(str(digit) * 32) for digit in (1, 2, 3))
LINK = SignedLink("tests.link", days=10)
# Tokens that left in mails before SignedLink was written, signed with the key below at SENT.
OLD_ALERT = f"{ONE.hex}.{TWO.hex}.3:1wJq5o:p9EkDsOFMy_rIVnWxZmMKG6KL9pApCQKEMP1ZxK7_80"
OLD_FORWARD = f"{ONE.hex}.{TWO.hex}.3.{THREE.hex}:1wJq5o:jsg_IvcFrEdG_iKn0fpxRBa9MAIXM14JhoSM485MbYA"
OLD_INVITATION = f"{ONE}:N2hkp1l4gE0Z6uamMF9FapMCOApN8DnYw4jcvQ_qRXY"
OLD_SINGLE = {
    OFFER: f"{ONE.hex}:1wJq5o:JN2oRuDlU1PH70DgARDY7C8Rzb6l1twLbzEYqyvPBXM",
    DRILL: f"{ONE.hex}:1wJq5o:5e4NADpozylDsHR-KVEM8--MTjqJrN_c2eR9IX0FIdo",
    RETURN: f"{ONE.hex}:1wJq5o:HvearU7VhgZiUdn687vN_-_b9ON5b8uFPrJchisCS40",
}


@pytest.fixture
def at_sent(settings: Settings) -> Iterator[time_machine.Traveller]:
    settings.SECRET_KEY = "a-key-of-the-test"
    with time_machine.travel(SENT, tick=False) as clock:
        yield clock


class TestWhatWasSentBefore:
    def test_an_alert_opens_and_is_made_the_same(self, at_sent: time_machine.Traveller) -> None:
        assert ALERT.read(OLD_ALERT) == [ONE.hex, TWO.hex, "3"]
        assert ALERT.make(ONE, TWO, 3) == OLD_ALERT

    def test_an_alert_passed_on_opens_and_is_made_the_same(self, at_sent: time_machine.Traveller) -> None:
        assert ALERT.read(OLD_FORWARD) == [ONE.hex, TWO.hex, "3", THREE.hex]
        assert ALERT.make(ONE, TWO, 3, THREE) == OLD_FORWARD

    @pytest.mark.parametrize("link", OLD_SINGLE, ids=lambda link: link.purpose)
    def test_a_link_to_one_row_opens_and_is_made_the_same(
        self, at_sent: time_machine.Traveller, link: SignedLink
    ) -> None:
        assert link.read_id(OLD_SINGLE[link]) == ONE
        assert link.make(ONE) == OLD_SINGLE[link]

    def test_an_invitation_opens(self, at_sent: time_machine.Traveller) -> None:
        at_sent.shift(timedelta(days=4000))
        assert INVITATION.read_id(OLD_INVITATION) == ONE

    @pytest.mark.parametrize("link", [INVITATION, REMINDERS, ENQUIRY_LINK], ids=lambda link: link.purpose)
    def test_what_had_no_time_once_has_one_now(self, at_sent: time_machine.Traveller, link: SignedLink) -> None:
        old, new = Signer(salt=link.purpose).sign(ONE.hex), link.make(ONE)
        assert link.days is not None
        at_sent.shift(timedelta(days=link.days))
        assert link.read_id(new) == ONE
        at_sent.shift(timedelta(seconds=1))
        assert link.read_id(old) == ONE
        with pytest.raises(DeadLink):
            link.read_id(new)
        with pytest.raises(Http404):
            link.read_id(f"{old}x")

    def test_only_a_calendar_has_none_because_nobody_renews_a_subscription(self) -> None:
        places = (services, surveys.rota.links, surveys.people.links, alerts.contacts.links)
        made = [each for place in places for each in vars(place).values() if isinstance(each, SignedLink)]
        assert [each.purpose for each in made if each.days is None] == ["rota.calendar"]

    @pytest.mark.parametrize(
        ("link", "days"), [(OFFER, 60), (DRILL, 60), (RETURN, 7)], ids=["offer", "drill", "return"]
    )
    def test_it_lives_no_longer_than_it_did(
        self, at_sent: time_machine.Traveller, link: SignedLink, days: int
    ) -> None:
        at_sent.shift(timedelta(days=days))
        assert link.read_id(OLD_SINGLE[link]) == ONE
        at_sent.shift(timedelta(seconds=1))
        with pytest.raises(DeadLink):
            link.read_id(OLD_SINGLE[link])


class TestAToken:
    def test_it_brings_back_what_it_names_in_order(self) -> None:
        assert LINK.read(LINK.make(TWO, 7, ONE)) == [TWO.hex, "7", ONE.hex]

    @pytest.mark.parametrize(("days", "is_dead"), [(10, False), (11, True)])
    def test_it_dies_of_age(self, at_sent: time_machine.Traveller, days: int, is_dead: bool) -> None:
        token = LINK.make(ONE)
        at_sent.shift(timedelta(days=days))
        if is_dead:
            with pytest.raises(DeadLink):
                LINK.read(token)
        else:
            assert LINK.read_id(token) == ONE

    def test_it_opens_nothing_of_another_purpose(self) -> None:
        with pytest.raises(Http404):
            SignedLink("tests.other", days=10).read(LINK.make(ONE))

    @pytest.mark.parametrize("spoil", [lambda token: token[1:], lambda token: f"{token}x", lambda _: "a:b:c"])
    def test_it_is_unknown_once_spoilt(self, spoil: object) -> None:
        with pytest.raises(Http404):
            LINK.read(spoil(LINK.make(ONE)))  # type: ignore[operator]

    def test_it_is_unknown_without_its_time(self) -> None:
        """A signature of the same purpose that never ends would be a link that never dies."""
        with pytest.raises(Http404):
            LINK.read(Signer(salt=LINK.purpose).sign(ONE.hex))

    def test_one_of_several_rows_is_no_single_row(self) -> None:
        with pytest.raises(Http404):
            LINK.read_id(LINK.make(ONE, TWO))

    def test_its_address_is_whole(self, settings: Settings) -> None:
        settings.BASE_URL = "https://rivers.example"
        address = LINK.address("drill_page", ONE)
        assert address.startswith(f"https://rivers.example/rehearsal/{ONE.hex}:")


def found_or_dead(token: str) -> str:
    if token == "dead":
        raise DeadLink
    return f"row of {token}"


@by_link(found_or_dead, "alerts/alert_gone.html")
def shown(_request: HttpRequest, found: str, number: int = 0) -> HttpResponse:
    return HttpResponse(f"{found}, {number}")


class TestAPageBehindALink:
    def test_it_hands_over_what_the_token_stands_for(self, rf: RequestFactory) -> None:
        answer = shown(rf.get("/"), token="t", number=4)
        assert isinstance(answer, HttpResponse)
        assert answer.content == b"row of t, 4"

    def test_no_search_engine_keeps_it(self, rf: RequestFactory) -> None:
        assert shown(rf.get("/"), token="t")["X-Robots-Tag"] == "noindex, nofollow"

    def test_a_view_keeps_its_name(self) -> None:
        assert shown.__name__ == "shown"

    @pytest.mark.django_db
    def test_a_dead_link_answers_that_it_is_gone(self, client: Client) -> None:
        """Through the whole portal: the page needs what the middleware puts into a request."""
        token = RETURN.make(uuid4())
        answer = client.get(f"/safe-return/{token}/")
        assert (answer.status_code, answer.templates[0].name) == (410, "surveys/return_gone.html")
