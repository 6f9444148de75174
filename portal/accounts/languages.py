"""In which language somebody is spoken to: on pages, in e-mails and in PDFs.

A person's own choice comes first, then what the browser asks for (a choice made without an account is kept in a
cookie), then the group's language, then the portal's.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers

if TYPE_CHECKING:
    from portal.accounts.models import Group, User

# In an address: shows the page in that language and keeps the choice, for readers without an account.
ASKED = "language"


def is_spoken(code: str | None) -> bool:
    """Whether the portal speaks this language ("de"), told exactly as in the settings."""
    return code in dict(settings.LANGUAGES)


def language_for(reader: User | None = None, group: Group | None = None, own: str = "") -> str:
    """The language to write to somebody in who is not asking for a page now.

    `own` is the choice of a reader without an account, such as an agency's contact.
    """
    wished = (own, reader.language if reader else "", group.language if group else "")
    return next((each for each in wished if is_spoken(each)), settings.LANGUAGE_CODE)


def speaking_to(
    reader: User | None = None, group: Group | None = None, own: str = ""
) -> AbstractContextManager[None]:
    """All texts made inside are in the reader's language (`language_for`)."""
    return translation.override(language_for(reader, group, own))


def in_this_language(address: str) -> str:
    """The address of a page of ours that opens in the language spoken now: its reader may have no account."""
    language = translation.get_language()
    return address if language in (None, settings.LANGUAGE_CODE) else f"{address}?{ASKED}={language}"


def speak_as_group(request: HttpRequest, group: Group) -> None:
    """A public page for a reader who asks for no language (a search engine, say) is in the group's."""
    wishes = (
        request.GET.get(ASKED),
        request.COOKIES.get(settings.LANGUAGE_COOKIE_NAME),
        request.headers.get("Accept-Language"),
    )
    if not any(wishes) and not _own_language(request):
        _activate(request, language_for(group=group))


class ReaderLanguageMiddleware:
    """Speaks the language of whoever asks; comes after the middleware that knows the account."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        asked = request.GET.get(ASKED)
        chosen = asked if is_spoken(asked) else ""
        _activate(request, chosen or _own_language(request) or translation.get_language_from_request(request))
        response = self.get_response(request)
        patch_vary_headers(response, ("Accept-Language",))
        response.headers.setdefault("Content-Language", translation.get_language() or settings.LANGUAGE_CODE)
        if chosen:
            keep_in_browser(response, chosen)
        return response


def keep_in_browser(response: HttpResponse, language: str) -> None:
    """Remember the choice on this device, for pages read without signing in."""
    response.set_cookie(
        settings.LANGUAGE_COOKIE_NAME,
        language,
        max_age=settings.LANGUAGE_COOKIE_AGE,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def _activate(request: HttpRequest, language: str) -> None:
    translation.activate(language)
    request.LANGUAGE_CODE = translation.get_language()


def _own_language(request: HttpRequest) -> str:
    # Whoever carries no session has no account: nothing to ask the database.
    if settings.SESSION_COOKIE_NAME not in request.COOKIES:
        return ""
    try:
        language = str(getattr(request.user, "language", ""))
    except DatabaseError:
        # The page itself will say what is wrong, in whatever language.
        return ""
    return language if is_spoken(language) else ""
