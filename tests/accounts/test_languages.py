"""In which language somebody is spoken to: their own choice, the browser's, the group's, the portal's."""

from __future__ import annotations

import pytest
from django.conf import LazySettings
from django.contrib.auth.models import AnonymousUser
from django.http import HttpResponse, HttpResponseBase
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import translation
from django.utils.translation import get_language

from portal.accounts import languages
from portal.accounts.models import Group, User
from portal.accounts.services import choose_language
from portal.audit.models import AuditEntry
from tests.conftest import Cast
from tests.surveys.pages import signed_in

GERMAN = {"Accept-Language": "de-AT,de;q=0.9,en;q=0.5"}


def language_of(answer: HttpResponseBase) -> str:
    return answer.headers["Content-Language"]


def test_a_page_is_in_the_language_that_the_browser_asks_for(client: Client, db: None) -> None:
    answer = client.get("/", headers=GERMAN)
    assert language_of(answer) == "de"
    assert b'<html lang="de"' in answer.content
    assert "Accept-Language" in answer["Vary"]


@pytest.mark.parametrize("asked", ["fr", "xx-nothing", "", "*"])
def test_a_language_that_is_not_ours_becomes_the_portals(client: Client, db: None, asked: str) -> None:
    assert language_of(client.get("/", headers={"Accept-Language": asked})) == "en-gb"


def test_a_choice_without_an_account_stays_with_the_browser(client: Client, db: None) -> None:
    assert language_of(client.get("/", {"language": "de"})) == "de"
    assert client.cookies["django_language"]["samesite"] == "Lax"
    assert language_of(client.get("/methods/")) == "de"


def test_an_unknown_choice_is_let_be(client: Client, db: None) -> None:
    answer = client.get("/", {"language": "de'><script>"})
    assert language_of(answer) == "en-gb"
    assert "django_language" not in client.cookies


def test_one_s_own_choice_goes_before_the_browser(cast: Cast) -> None:
    person = signed_in(cast.volunteer)
    answer = person.post(reverse("language_choose"), {"language": "de"}, headers={"Accept-Language": "en"})
    assert answer.status_code == 302
    assert language_of(person.get("/methods/", headers={"Accept-Language": "en"})) == "de"
    assert User.objects.get(pk=cast.volunteer.pk).language == "de"


def test_no_choice_gives_the_word_back_to_the_browser(cast: Cast) -> None:
    choose_language(person=cast.person("volunteer"), language="de")
    person = signed_in(cast.volunteer)
    person.post(reverse("language_choose"), {"language": ""})
    assert language_of(person.get("/methods/", headers={"Accept-Language": "en"})) == "en-gb"


def test_a_choice_that_is_none_is_told_at_its_field(cast: Cast) -> None:
    answer = signed_in(cast.volunteer).post(reverse("language_choose"), {"language": "klingon"})
    assert answer.status_code == 422
    assert b"klingon is not one of the available choices" in answer.content


def test_a_choice_is_in_the_trail(cast: Cast) -> None:
    choose_language(person=cast.person("volunteer"), language="de")
    entry = AuditEntry.objects.across_groups("an account is of no group").get(verb="account.language")
    assert entry.changes == {"language": ["", "de"]}


def test_the_service_refuses_a_language_that_nobody_speaks(cast: Cast) -> None:
    with pytest.raises(ValueError, match="xx"):
        choose_language(person=cast.person("volunteer"), language="xx")


@pytest.mark.parametrize(
    ("own", "reader", "group", "expected"),
    [
        ("", None, None, "en-gb"),
        ("", None, "de", "de"),
        ("", "", "de", "de"),
        ("", "en-gb", "de", "en-gb"),
        ("de", None, "en-gb", "de"),
        ("xx", "yy", "zz", "en-gb"),
    ],
)
def test_who_is_written_to_is_written_to_in_the_nearest_choice(
    own: str, reader: str | None, group: str | None, expected: str
) -> None:
    user = None if reader is None else User(language=reader)
    found = languages.language_for(user, None if group is None else Group(language=group), own)
    assert found == expected


def test_the_language_before_comes_back_after_writing() -> None:
    with translation.override("en-gb"):
        with languages.speaking_to(User(language="de")):
            assert get_language() == "de"
        assert get_language() == "en-gb"


@pytest.mark.parametrize(
    ("headers", "expected"),
    [({}, "de"), ({"Accept-Language": "en"}, "en-gb"), ({"Cookie": "django_language=en-gb"}, "en-gb")],
)
def test_a_public_page_for_nobody_in_particular_is_in_the_groups_language(
    rf: RequestFactory, headers: dict[str, str], expected: str, settings: LazySettings
) -> None:
    request = rf.get("/public/alder-beck/", headers=headers)
    request.user = AnonymousUser()

    def page(_: object) -> HttpResponse:
        languages.speak_as_group(request, Group(language="de"))
        return HttpResponse(get_language())

    answer = languages.ReaderLanguageMiddleware(page)(request)
    assert answer.content.decode() == expected == language_of(answer)


def test_each_language_is_offered_to_who_has_no_account(
    client: Client, db: None, settings: LazySettings
) -> None:
    page = client.get("/methods/").content.decode()
    assert [name for _, name in settings.LANGUAGES if name in page] == ["English", "Deutsch"]
    assert 'href="?language=de"' in page


def test_a_page_kept_on_a_phone_is_another_in_another_language(cast: Cast) -> None:
    person = signed_in(cast.volunteer)
    english = person.get(reverse("bank_state"), headers={"Accept-Language": "en"}).json()
    german = person.get(reverse("bank_state"), headers=GERMAN).json()
    assert english != german
