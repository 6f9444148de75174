"""A coordinator without a second factor finds account pages and what is everybody's, and nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from typing import Any
from urllib.parse import quote

import pytest
from django.conf import LazySettings
from django.contrib.auth.models import AnonymousUser
from django.db import connection
from django.http import HttpRequest
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portal.accounts.models import Membership, Role
from portal.accounts.queries import person_of
from portal.accounts.signing_in import gate
from portal.accounts.signing_in.gate import is_account_page
from portal.accounts.signing_in.second_factor import is_asked_of
from portal.tokens.models import Scope
from portal.tokens.services import make_key
from tests.access import scene
from tests.access.table import TABLE
from tests.access.test_matrix import ADDRESSES, answer_of
from tests.access.world import World
from tests.conftest import Cast
from tests.second_factor import with_password_only

once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world
pytestmark = pytest.mark.django_db
SET_UP = "/account/second-factor/"


@pytest.fixture
def coordinator(world: World) -> Client:
    user = world.people["coordinator"]
    assert user is not None
    return with_password_only(Client(raise_request_exception=False), user)


def address(world: World, name: str) -> str:
    return reverse(name, kwargs=world.arguments(name, ADDRESSES[name]))


def opened(world: World, client: Client) -> Iterator[str]:
    """The addresses that show or do anything that nobody else is shown, for each method that they take."""
    for name in sorted(TABLE):
        for method in sorted(set(TABLE[name]) - {"options"}):
            answer = answer_of(client, method, address(world, name))
            if not is_account_page(name) and not _is_refusal(answer, name, method):
                yield f"{method} {name}: {answer.status_code}"


def _is_refusal(answer: Any, name: str, method: str) -> bool:
    if answer.status_code == 302 and answer["Location"].startswith(SET_UP):
        return True
    if TABLE[name][method]["nobody"] == "401":
        # A phone that asks what is new is told as after a sign-out.
        return bool(answer.status_code == (403 if name.startswith("api_") else 401))
    # What is everybody's is shown as to somebody who has not signed in.
    body = b"" if answer.streaming else answer.content
    return TABLE[name][method]["nobody"] in ("ok", "404") and b"person-menu" not in body


def test_no_address_opens_but_account_pages(world: World, coordinator: Client, record_property: Any) -> None:
    record_property("addresses", len(TABLE))
    assert list(opened(world, coordinator)) == []


def test_it_would_notice_if_the_gate_were_gone(
    world: World, coordinator: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gate, "_must_prove", lambda _request: False)
    assert len(list(islice(opened(world, coordinator), 30))) == 30


def test_account_pages_open(world: World, coordinator: Client) -> None:
    for name in ("mfa_index", "mfa_add_webauthn", "session_list", "language_choose", "account_email"):
        assert answer_of(coordinator, "get", address(world, name)).status_code == 200, name


def test_it_leads_on_to_where_somebody_wanted_to_go(cast: Cast, coordinator: Client) -> None:
    wanted = f"/groups/{cast.group.slug}/people/"
    answer = coordinator.get(wanted)
    assert answer["Location"] == f"{SET_UP}?next={quote(wanted, safe='')}"
    page = coordinator.get(answer["Location"]).content.decode()
    assert "Show it now" in page
    assert f"next={wanted}".replace("/", "%2F") in page


def test_it_leads_to_no_other_site(coordinator: Client) -> None:
    page = coordinator.get(SET_UP, {"next": "https://other.example/"}).content.decode()
    assert "other.example" not in page


def test_the_interface_says_what_is_missing(cast: Cast, coordinator: Client) -> None:
    answer = coordinator.get(reverse("api_groups"))
    assert (answer.status_code, answer.json()["problems"][0]["rule"]) == (403, "second_factor")
    assert "Set one up" in answer.content.decode()


def test_an_operator_is_asked_as_well_and_a_volunteer_is_not(world: World) -> None:
    opal, vera = world.people["operator"], world.people["volunteer"]
    assert opal is not None
    assert vera is not None
    assert with_password_only(Client(), opal).get("/")["Location"].startswith(SET_UP)
    assert with_password_only(Client(), vera).get(reverse("bank_home")).status_code == 200


def test_whoever_becomes_a_coordinator_is_asked_from_the_next_page_on(cast: Cast) -> None:
    client = with_password_only(Client(), cast.volunteer)
    desk = f"/groups/{cast.group.slug}/"
    assert client.get(desk).status_code == 200
    Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(role=Role.COORDINATOR)
    assert client.get(desk)["Location"].startswith(SET_UP)


def test_nobody_is_asked_where_it_is_optional(coordinator: Client, cast: Cast, settings: LazySettings) -> None:
    settings.SECOND_FACTOR = "optional"
    assert coordinator.get(f"/groups/{cast.group.slug}/people/").status_code == 200


def test_a_key_is_as_good_as_the_session_it_was_made_in(cast: Cast) -> None:
    made = {
        proven: make_key(
            person=cast.person("coordinator"),
            name="K",
            scopes=[Scope.READ_VISITS],
            days=1,
            with_second_factor=proven,
        ).text
        for proven in (True, False)
    }
    # A volunteer's session comes along and lends the key neither its roles nor its name.
    client = with_password_only(Client(), cast.volunteer)
    url = reverse("api_visits", args=[cast.group.slug])
    answers = {
        proven: client.get(url, headers={"Authorization": f"Bearer {text}"}) for proven, text in made.items()
    }
    assert {proven: answer.status_code for proven, answer in answers.items()} == {True: 200, False: 403}
    assert answers[False].json()["problems"][0]["rule"] == "second_factor"


def test_a_volunteers_key_from_before_still_works(cast: Cast) -> None:
    assert not is_asked_of(person_of(cast.volunteer))
    key = make_key(person=cast.person("volunteer"), name="K", scopes=[Scope.READ_VISITS], days=1).text
    answer = Client().get(
        reverse("api_visits", args=[cast.group.slug]), headers={"Authorization": f"Bearer {key}"}
    )
    assert answer.status_code == 200


def test_the_gate_costs_no_query(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """What it looks at stands in the session, or is read for the page anyway."""
    client, url = with_password_only(Client(), cast.volunteer), f"/groups/{cast.group.slug}/people/"
    counts = []
    for must in (gate._must_prove, lambda _request: False):
        monkeypatch.setattr(gate, "_must_prove", must)
        with CaptureQueriesContext(connection) as seen:
            assert client.get(url).status_code == 200
        counts.append(len(seen))
    assert counts[0] == counts[1]


def test_it_asks_nobody_without_a_session(rf: Any) -> None:
    request: HttpRequest = rf.get("/")
    request.user = AnonymousUser()
    assert not gate._must_prove(request)
