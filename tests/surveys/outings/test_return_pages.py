"""Pages of safe returns: for members, and behind the signed link of an e-mail."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from surveys.models import ReturnNotice, SafeReturn
from surveys.outings.returns import RETURN
from surveys.services.return_watch import watch_returns
from surveys.services.rivers import report_river
from surveys.services.safe_returns import end_safe_return
from tests.conftest import Cast
from tests.surveys.outings.returning import OUTSIDER, begin_return, course, fresh, mails_to, minutes_after
from tests.surveys.pages import address, signed_in, text_of

pytestmark = pytest.mark.django_db
SHORE = OUTSIDER["named_email"]
LOCAL = "%Y-%m-%dT%H:%M"


@pytest.fixture
def begun(cast: Cast) -> SafeReturn:
    return begin_return(cast)


def form_for(cast: Cast, **changes: str) -> dict[str, str]:
    usual = {
        "number": str(uuid4()),
        "expected_at": (timezone.localtime() + timedelta(hours=3)).strftime(LOCAL),
        "partner": str(cast.other_volunteer.pk),
        "phone": "01632 960001",
        **OUTSIDER,
    }
    return usual | changes


def sweep(begun: SafeReturn, minutes: int) -> None:
    with time_machine.travel(minutes_after(begun.expected_at, minutes), tick=False):
        watch_returns()


def link_of(begun: SafeReturn, email: str) -> str:
    """The address in the newest mail to somebody, as a path."""
    texts = [mail.text for mail in mails_to(email) if "/safe-return/" in mail.text]
    found = re.search(r"https?://[^/\s]+(/safe-return/\S+)", texts[-1])
    assert found
    return found[1]


class TestStarting:
    def url(self, cast: Cast) -> str:
        return address("safe_return_start", cast.group, site_id=cast.site.pk)

    def test_it_starts_and_says_what_comes(self, cast: Cast) -> None:
        answer = signed_in(cast.volunteer).post(self.url(cast), form_for(cast), follow=True)
        page = text_of(answer)
        for words in ("I am back", "30 minutes more", "Hazel Shore", "no emergency service", "back by"):
            assert words in page
        assert SafeReturn.objects.of_group(cast.group).get().started_by == cast.volunteer

    def test_the_page_says_plainly_what_it_is_not_and_what_is_told(self, cast: Cast) -> None:
        page = text_of(signed_in(cast.volunteer).get(self.url(cast)))
        for words in (
            "no emergency service",
            "needs the network to be started and to be ended",
            "watched by nobody",
            "may come late",
            "telephone the local emergency number",
            "hears only that you named them",
        ):
            assert words in page, words

    @pytest.mark.parametrize(
        ("changes", "words"),
        [
            ({"expected_at": ""}, "required"),
            ({"expected_at": "soon"}, "Give a day and a time"),
            ({"expected_at": "2001-01-01T10:00"}, "This time is past"),
            ({"named_email": "hazel"}, "not an e-mail address"),
            ({"named_email": ""}, "Give the e-mail address"),
            ({"named_name": ""}, "Choose a member, or name somebody else"),
            ({"partner": "nobody"}, "Select a valid choice"),
            ({"number": "1"}, "valid UUID"),
        ],
    )
    def test_it_keeps_what_was_typed_and_says_what_is_wrong(
        self, cast: Cast, changes: dict[str, str], words: str
    ) -> None:
        answer = signed_in(cast.volunteer).post(self.url(cast), form_for(cast, **changes))
        assert answer.status_code == 422
        assert words in text_of(answer)
        assert "01632 960001" in answer.content.decode()
        assert not SafeReturn.objects.of_group(cast.group).exists()

    def test_pressed_twice_it_starts_one(self, cast: Cast) -> None:
        client, form = signed_in(cast.volunteer), form_for(cast)
        first, second = (client.post(self.url(cast), form) for _ in range(2))
        assert first["Location"] == second["Location"]
        assert SafeReturn.objects.of_group(cast.group).count() == 1

    def test_a_form_of_somebody_elses_number_is_refused_in_words(self, cast: Cast, begun: SafeReturn) -> None:
        form = form_for(cast, number=str(begun.pk), partner=str(cast.volunteer.pk))
        answer = signed_in(cast.coordinator).post(self.url(cast), form)
        assert answer.status_code == 422
        assert "Open it anew" in text_of(answer)

    def test_a_high_river_and_a_lapsed_permission_are_said_before(self, cast: Cast) -> None:
        report_river(person=cast.person("volunteer"), site=cast.site, too_high=True)
        type(cast.site).objects.of_group(cast.group).update(
            permission_until=timezone.localdate() - timedelta(1)
        )
        page = text_of(signed_in(cast.volunteer).get(self.url(cast)))
        assert "stay away" in page
        assert "Permission has run out" in page

    def test_ones_own_number_is_offered(self, cast: Cast) -> None:
        type(cast.volunteer).objects.filter(pk=cast.volunteer.pk).update(phone="01632 960777")
        assert "01632 960777" in signed_in(cast.volunteer).get(self.url(cast)).content.decode()


class TestMembers:
    def test_the_desk_shows_that_one_is_out(self, cast: Cast, begun: SafeReturn) -> None:
        assert "Safe return" in text_of(signed_in(cast.volunteer).get(address("group_desk", cast.group)))
        with time_machine.travel(minutes_after(begun.expected_at, 1)):
            page = text_of(signed_in(cast.coordinator).get(address("group_desk", cast.group)))
        assert "Safe return overdue" in page

    def test_i_am_back(self, cast: Cast, begun: SafeReturn) -> None:
        url = address("safe_return_end", cast.group, return_id=begun.pk)
        assert "Ended" in text_of(signed_in(cast.volunteer).post(url, follow=True))
        assert course(begun) == ["started", "back"]

    def test_thirty_minutes_more_and_not_after_the_end(self, cast: Cast, begun: SafeReturn) -> None:
        client = signed_in(cast.volunteer)
        url = address("safe_return_extend", cast.group, return_id=begun.pk)
        client.post(url)
        assert fresh(begun).expected_at == minutes_after(begun.expected_at, 30)
        end_safe_return(safe_return=begun, person=cast.person("volunteer"))
        assert "has ended already" in text_of(client.post(url, follow=True))

    def test_a_coordinator_reads_where_they_are_and_what_to_do(self, cast: Cast, begun: SafeReturn) -> None:
        with time_machine.travel(minutes_after(begun.expected_at, 31)):
            url = address("safe_return_detail", cast.group, return_id=begun.pk)
            page = text_of(signed_in(cast.coordinator).get(url))
        for words in (
            "31 minutes ago",
            "NY",
            "54.50000",
            "green van",
            "01632 960001",
            "know that they are safe",
        ):
            assert words in page

    def test_a_member_who_has_nothing_to_do_with_it_is_kept_out(self, cast: Cast) -> None:
        begun = begin_return(cast, partner=None, partner_name="Sam Reed")
        client = signed_in(cast.other_volunteer)
        for name in ("safe_return_detail",):
            assert client.get(address(name, cast.group, return_id=begun.pk)).status_code == 403
        for name in ("safe_return_end", "safe_return_extend"):
            assert client.post(address(name, cast.group, return_id=begun.pk)).status_code == 403
        assert str(begun.pk) not in client.get(address("safe_return_list", cast.group)).content.decode()

    def test_the_list_tells_live_from_ended(self, cast: Cast, begun: SafeReturn) -> None:
        other = begin_return(cast)
        end_safe_return(safe_return=other, person=cast.person("volunteer"))
        page = text_of(signed_in(cast.volunteer).get(address("safe_return_list", cast.group)))
        assert page.index("Out now") < page.index("Start one") < page.index("Ended lately")


class TestByLink:
    def test_reading_ends_nothing(self, cast: Cast, begun: SafeReturn) -> None:
        page = text_of(Client().get(link_of(begun, "vera@example.org")))
        assert "Nothing is ended by reading this page" in page
        assert fresh(begun).is_live

    def test_i_am_back_without_an_account(self, cast: Cast, begun: SafeReturn) -> None:
        url = link_of(begun, "vera@example.org")
        page = text_of(Client().post(f"{url}end/", follow=True))
        assert "It has ended: back, says Vera Example" in page
        assert course(begun) == ["started", "back"]

    def test_more_time_without_an_account(self, cast: Cast, begun: SafeReturn) -> None:
        url = link_of(begun, "owen@example.org")
        assert "30 minutes more" in text_of(Client().post(f"{url}extend/", follow=True))
        assert fresh(begun).expected_at == minutes_after(begun.expected_at, 30)

    def test_the_named_person_says_that_they_are_safe(self, cast: Cast, begun: SafeReturn) -> None:
        sweep(begun, 45)
        with time_machine.travel(minutes_after(begun.expected_at, 46)):
            url = link_of(begun, SHORE)
            page = text_of(Client().get(url))
            assert "I know that they are safe" in page
            assert "I am back" not in page
            assert "known to be safe, says Hazel Shore" in text_of(Client().post(f"{url}end/", follow=True))

    def test_the_named_person_takes_no_more_time(self, cast: Cast, begun: SafeReturn) -> None:
        sweep(begun, 45)
        with time_machine.travel(minutes_after(begun.expected_at, 46)):
            url = link_of(begun, SHORE)
            assert "Only those who went" in text_of(Client().post(f"{url}extend/", follow=True))
        assert course(begun)[-1] == "named"

    def test_once_ended_it_shows_no_more_than_that(self, cast: Cast, begun: SafeReturn) -> None:
        sweep(begun, 45)
        with time_machine.travel(minutes_after(begun.expected_at, 46)):
            url = link_of(begun, SHORE)
            assert "54.50000" in text_of(Client().get(url))
            end_safe_return(safe_return=begun, person=cast.person("volunteer"))
            page = text_of(Client().get(url))
        for private in ("54.50000", "01632 960001", "green van", "Stepping stones"):
            assert private not in page

    def test_once_more_time_is_taken_it_no_longer_alarms(self, cast: Cast, begun: SafeReturn) -> None:
        sweep(begun, 45)
        with time_machine.travel(minutes_after(begun.expected_at, 46)):
            pair, shore = link_of(begun, "vera@example.org"), link_of(begun, SHORE)
            Client().post(f"{pair}extend/")
            page = text_of(Client().get(shore))
        assert "takes more time" in page
        assert "They expected to be back" not in page

    def test_a_link_dies_after_seven_days(self, begun: SafeReturn) -> None:
        url = link_of(begun, "vera@example.org")
        with time_machine.travel(timezone.now() + timedelta(days=7, minutes=1)):
            answer = Client().get(url)
        assert answer.status_code == 410
        assert "telephone them" in text_of(answer)

    @pytest.mark.parametrize(
        "spoil", [lambda token: token + "x", lambda token: "x" + token, lambda _token: "a:b:c"]
    )
    def test_a_forged_link_opens_nothing(self, begun: SafeReturn, spoil: object) -> None:
        token = link_of(begun, "vera@example.org").strip("/").split("/")[1]
        url = reverse("return_link_end", args=[spoil(token)])  # type: ignore[operator]
        assert Client().post(url).status_code == 404
        assert fresh(begun).is_live

    def test_a_link_to_nothing_is_dead(self) -> None:
        token = RETURN.make(uuid4())
        assert Client().get(reverse("return_link", args=[token])).status_code == 410

    def test_no_search_engine_keeps_it(self, begun: SafeReturn) -> None:
        answer = Client().get(link_of(begun, "vera@example.org"))
        assert answer["X-Robots-Tag"] == "noindex, nofollow"
        assert "no-store" in answer["Cache-Control"]


class TestTheMails:
    def test_the_overdue_mail_says_all_that_helps_and_no_more(self, cast: Cast) -> None:
        site = cast.site
        type(site).objects.of_group(cast.group).update(
            hazards="Deep pool", access_notes="Gate by the barn", landowner="Private Owner", code="AB1"
        )
        begun = begin_return(cast)
        sweep(begun, 45)
        (mail,) = [each for each in mails_to(SHORE) if each.kind == "return.overdue"]
        for part in (mail.text, mail.html):
            for words in (
                "Vera Example",
                "Owen Example",
                "01632 960001",
                "Small green van",
                "Stepping stones",
                "Alder Beck",
                "54.50000, -2.50000",
                "NY",
                "openstreetmap",
                "Deep pool",
                "Gate by the barn",
                "telephone the local emergency number",
                "Do not go into the water yourself",
                "an e-mail may come late or not at all",
            ):
                assert words in part, words
            for private in ("Private Owner", "vera@example.org", "owen@example.org", "cora@example.org"):
                assert private not in part, private

    def test_without_phone_car_and_partner_it_says_who_is_alone(self, cast: Cast) -> None:
        begun = begin_return(cast, partner=None, phone="", car="")
        sweep(begun, 45)
        assert "(no partner named)" in mails_to(SHORE)[-1].text
        assert "Car:" not in mails_to(SHORE)[-1].text

    def test_every_mail_says_that_this_is_no_emergency_service(self, cast: Cast, begun: SafeReturn) -> None:
        for minutes in (0, 15, 30, 45):
            sweep(begun, minutes)
        end_safe_return(safe_return=begun, person=cast.person("volunteer"))
        for email in ("vera@example.org", "cora@example.org", SHORE):
            for mail in mails_to(email):
                assert "no emergency service" in mail.text, mail.subject
                assert "No emergency service" in mail.html, mail.subject

    def test_names_with_signs_stay_plain_in_text_and_safe_in_html(self, cast: Cast) -> None:
        begun = begin_return(cast, named_name="O'Neil <b>", car="van & trailer")
        sweep(begun, 45)
        mail = mails_to(SHORE)[-1]
        assert "van & trailer" in mail.text
        assert "van &amp; trailer" in mail.html
        assert ReturnNotice.objects.of_group(cast.group).filter(name="O'Neil <b>").exists()
