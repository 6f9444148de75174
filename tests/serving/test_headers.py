"""Headers on what the matrix does not ask for: refusals, faults, files, HTTPS.

That every address carries them for every role and method is shown by `tests/access/test_matrix.py`.
"""

from __future__ import annotations

import pytest
from django.conf import LazySettings, settings
from django.test import Client
from django.urls import reverse

from portal.serving.headers import NOBODY, PERMISSIONS
from portal.serving.passing_messages import HostCookieStorage
from portal.tokens.services import make_key
from tests.access import scene
from tests.access.headers import FILE_POLICY, PAGE_POLICY, kept, missing, missing_over_https
from tests.access.table_accounts import ACCOUNT_TABLE
from tests.access.test_matrix import ADDRESSES, next_answer_of, signed_in, wrong_cells
from tests.access.world import World
from tests.conftest import Cast

once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world


@pytest.fixture(autouse=True)
def _as_deployed(settings: LazySettings) -> None:
    settings.SECURE_HSTS_SECONDS = 31_536_000
    settings.SECURE_HSTS_INCLUDE_SUBDOMAINS = settings.SECURE_HSTS_PRELOAD = True


def test_the_pages_of_the_account_have_them(world: World) -> None:
    lacking = {}
    for role in ("volunteer", "nobody"):
        for name in ACCOUNT_TABLE:
            url = reverse(name, kwargs=world.arguments(name, ADDRESSES[name]))
            answer = next_answer_of(signed_in(world, role), "get", url, secure=True)
            if wrong := missing_over_https(answer):
                lacking[f"{name} as {role}"] = wrong
    assert lacking == {}


def test_so_have_refusals_faults_and_files(
    world: World, settings: LazySettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.WHITENOISE_USE_FINDERS = settings.WHITENOISE_AUTOREFRESH = True
    group = world.arguments("membership_change", ADDRESSES["membership_change"])
    volunteer, strict = signed_in(world, "volunteer"), Client(enforce_csrf_checks=True)
    answers = {
        "an unknown address": volunteer.get("/nowhere/", secure=True),
        "an unknown address of the interface": volunteer.get("/api/v1/nowhere/", secure=True),
        "another host": volunteer.get("/", secure=True, headers={"host": "rivers.elsewhere.example"}),
        "a forged form": strict.post(reverse("account_login"), {}, secure=True),
        "no right": volunteer.get(reverse("membership_change", kwargs=group), secure=True),
        "a file": next_answer_of(Client(), "get", "/static/css/tokens.css", secure=True),
    }
    monkeypatch.setattr("portal.views.home.public_groups", lambda: 1 / 0)
    answers["a fault"] = Client(raise_request_exception=False).get("/", secure=True)
    told = {what: answer.status_code for what, answer in answers.items()}
    assert list(told.values()) == [404, 404, 400, 403, 403, 200, 500], told
    assert {what: wrong for what, answer in answers.items() if (wrong := missing_over_https(answer))} == {}


def test_a_plain_request_is_sent_to_https_with_the_headers(settings: LazySettings) -> None:
    settings.SECURE_SSL_REDIRECT = True
    answer = Client().get("/methods/")
    assert (answer.status_code, answer["Location"]) == (301, "https://testserver/methods/")
    # Browsers heed HSTS over HTTPS only.
    assert missing(answer) == []


def test_a_program_with_a_key_is_told_to_keep_nothing(world: World, cast: Cast) -> None:
    key = make_key(person=cast.person("volunteer"), name="Sheet", scopes=["read:sites"], days=1)
    answer = Client().get("/api/v1/groups/", headers={"Authorization": f"Bearer {key.text}"})
    assert answer.status_code == 200
    assert kept(answer, "api_groups") == []


def test_what_everybody_may_see_may_still_be_kept(world: World, cast: Cast) -> None:
    assert "public" in Client().get(f"/public/{cast.group.slug}/")["Cache-Control"]
    assert "Cache-Control" not in Client().get("/methods/").headers


def test_a_guard_that_is_gone_is_noticed(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("portal.serving.headers.is_somebodys", lambda _request, _response: False)
    assert any("Cache-Control" in cell for cell in wrong_cells(world, "volunteer", "visit_list", ["get"]))


def test_the_cookie_of_passing_messages_has_the_name_of_the_settings(cast: Cast) -> None:
    """Told to a Python of its own, because the name is read once: tests/serving/test_safe_start.py."""
    client = Client()
    client.force_login(cast.volunteer)
    answer = client.post(reverse("account_logout"))
    assert answer.status_code == 302
    assert settings.MESSAGES_COOKIE_NAME in answer.cookies
    assert HostCookieStorage.cookie_name == settings.MESSAGES_COOKIE_NAME


def test_no_policy_lets_a_page_run_what_stands_in_it() -> None:
    sources = {each for policy in (PAGE_POLICY, FILE_POLICY) for listed in policy.values() for each in listed}
    assert sources == {"'self'", "'none'", "data:", "blob:"}
    # Pictures alone may be made by the page itself.
    assert {"data:", "blob:"} & PAGE_POLICY["default-src"] == set()
    assert "script-src" not in settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]


def test_what_pages_need_is_theirs_and_the_rest_nobodys() -> None:
    assert PERMISSIONS.startswith("geolocation=(self), screen-wake-lock=(self), ")
    assert all(f"{name}=()" in PERMISSIONS for name in NOBODY)
    assert {"camera", "microphone", "payment", "usb"} <= set(NOBODY)
