"""Reminders are switched off and on by the link in each of them, by hand or by a mail program."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.utils import timezone

from portal.accounts.models import Membership
from portal.audit.services import history_of
from portal.outbox.composing import compose
from surveys.rota.links import PLACE, REMINDERS, reminders_url
from surveys.rota.mail import tell_plan
from surveys.rota.models import Availability
from surveys.rota.queries import silent_members
from surveys.rota.services.availability import add_named_days, save_availability, set_reminders
from surveys.rota.services.reminders import remind_of_visits
from tests.conftest import Cast
from tests.mail import parse
from tests.rota.conftest import ahead, mails
from tests.rota.making import offer_days, plan, put_on

pytestmark = pytest.mark.django_db
ONE_CLICK = {"List-Unsubscribe": "One-Click"}


def own(cast: Cast) -> Membership:
    return Membership.objects.of_group(cast.group).get(user=cast.volunteer)


def path_of(cast: Cast) -> str:
    return urlsplit(reminders_url(own(cast))).path


def said(cast: Cast) -> Availability | None:
    return Availability.objects.of_group(cast.group).filter(user=cast.volunteer).first()


def page(address: str) -> str:
    answer = Client().get(address)
    assert answer.status_code == 200
    return str(answer.content.decode())


def test_the_reminder_names_the_address_in_words_and_for_mail_programs(cast: Cast) -> None:
    put_on(plan(cast.site, ahead(2)), cast.volunteer)
    remind_of_visits()
    (mail,) = mails("rota.reminder")
    address = reminders_url(own(cast))
    assert address in mail.text
    assert address in mail.html
    assert parse(compose(mail).content)["List-Unsubscribe"] == f"<{address}>"


def test_other_letters_of_the_rota_are_not_ended_with_it(cast: Cast) -> None:
    letter = tell_plan(cast.group, cast.volunteer, [put_on(plan(cast.site, ahead(9)), cast.volunteer)], "k")
    assert letter.unsubscribe_url == ""
    assert "/reminders/" not in letter.text + letter.html


def test_reading_the_page_changes_nothing(cast: Cast) -> None:
    assert "3 days before each visit" in page(path_of(cast))
    assert said(cast) is None


def test_a_mail_program_ends_them_without_a_session_or_token(cast: Cast) -> None:
    offer_days(cast.group, cast.volunteer, remind_days=5)
    program = Client(enforce_csrf_checks=True)
    assert program.post(path_of(cast), ONE_CLICK).status_code == 302
    put_on(plan(cast.site, ahead(2)), cast.volunteer)
    assert remind_of_visits() == 0
    assert "You get no reminders" in page(path_of(cast))


def test_they_are_switched_on_again_by_hand_alone(cast: Cast) -> None:
    offer_days(cast.group, cast.volunteer, remind_days=0)
    again = f"{path_of(cast)}on/"
    assert Client(enforce_csrf_checks=True).post(again).status_code == 403
    assert Client().post(again).status_code == 302
    put_on(plan(cast.site, ahead(2)), cast.volunteer)
    assert remind_of_visits() == 1


def test_whoever_only_switched_reminders_off_has_not_said_when_they_can(cast: Cast) -> None:
    Client().post(path_of(cast))
    assert cast.volunteer in silent_members(cast.group)
    person = cast.person("volunteer")
    add_named_days(person=person, group=cast.group, kind="can", first_day=ahead(2), last_day=ahead(2))
    assert cast.volunteer not in silent_members(cast.group)
    row = said(cast)
    assert row is not None
    assert row.remind_days == 0


def test_saying_when_keeps_what_was_said_of_reminders(cast: Cast) -> None:
    person = cast.person("volunteer")
    set_reminders(person=person, group=cast.group, days=0)
    save_availability(person=person, group=cast.group, fields={"weekdays": [5]})
    row = said(cast)
    assert row is not None
    assert (row.remind_days, row.has_said_when) == (0, True)


def test_pressed_twice_it_stands_once_in_the_trail(cast: Cast) -> None:
    for _each in range(2):
        Client().post(path_of(cast), ONE_CLICK)
    row = said(cast)
    assert row is not None
    trail = [each.changes for each in history_of(row, cast.group)]
    assert trail == [{"remind_days": [3, 0]}]


@pytest.mark.parametrize("spoil", ["left", "other purpose", "forged"])
def test_a_link_that_names_nobody_changes_nothing(cast: Cast, spoil: str) -> None:
    token, expected = REMINDERS.make(own(cast).pk), 404
    if spoil == "left":
        Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(left_at=timezone.now())
        expected = 410
    tokens: dict[str, Any] = {"other purpose": PLACE.make(own(cast).pk), "forged": token[:-1] + "!"}
    address = f"/reminders/{tokens.get(spoil, token)}/"
    assert [Client().get(address).status_code, Client().post(address).status_code] == [expected, expected]
    assert said(cast) is None
