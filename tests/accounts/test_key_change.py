"""A new SECRET_KEY: with the former one beside it nobody is signed out and every link that was sent opens."""

from __future__ import annotations

from uuid import UUID

import pytest
from django.conf import LazySettings
from django.contrib.auth.tokens import default_token_generator
from django.http import Http404
from django.test import Client

from alerts.contacts.links import ALERT
from alerts.repeats.links import OFFER
from alerts.services.drills import DRILL
from portal.accounts.services import INVITATION
from portal.accounts.signed_links import SignedLink
from surveys.outings.returns import RETURN
from surveys.people.links import ENQUIRY_LINK
from surveys.review.links import QUESTION
from surveys.rota.links import CALENDAR, COVER, PLACE, REMINDERS, SWAP
from tests.conftest import Cast

FORMER, PRESENT = "the-former-key-" * 4, "the-present-key-" * 4
LINKS = [
    ALERT,
    CALENDAR,
    COVER,
    DRILL,
    ENQUIRY_LINK,
    INVITATION,
    OFFER,
    PLACE,
    QUESTION,
    REMINDERS,
    RETURN,
    SWAP,
]
ONE = UUID("1" * 32)


def change_key(settings: LazySettings, *former: str) -> None:
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = PRESENT, list(former)


@pytest.fixture(autouse=True)
def _former_key(settings: LazySettings) -> None:
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = FORMER, []


@pytest.mark.parametrize("link", LINKS, ids=lambda link: link.purpose)
def test_a_link_that_was_sent_opens_as_long_as_the_former_key_is_kept(
    settings: LazySettings, link: SignedLink
) -> None:
    sent = link.make(ONE)
    change_key(settings, FORMER)
    assert link.read(sent) == [ONE.hex]
    # What is sent from now on needs the former key no more.
    new = link.make(ONE)
    change_key(settings)
    assert link.read(new) == [ONE.hex]
    with pytest.raises(Http404):
        link.read(sent)


def test_who_is_signed_in_stays_so_and_later_without_the_former_key(cast: Cast, settings: LazySettings) -> None:
    client, away = Client(), Client()
    for each in (client, away):
        each.force_login(cast.volunteer)
    change_key(settings, FORMER)
    assert client.get("/bank/").status_code == 200
    change_key(settings)
    # Whoever came while both were kept is known by the new one; the others sign in again.
    assert client.get("/bank/").status_code == 200
    assert away.get("/bank/").status_code == 302


def test_a_link_for_a_new_password_works_after_the_change(cast: Cast, settings: LazySettings) -> None:
    token = default_token_generator.make_token(cast.volunteer)
    change_key(settings, FORMER)
    assert default_token_generator.check_token(cast.volunteer, token)
    change_key(settings)
    assert not default_token_generator.check_token(cast.volunteer, token)
