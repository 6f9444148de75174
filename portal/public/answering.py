"""How public pages are answered: in the reader's language, kept by whoever asks, and not made twice."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase
from django.utils import translation
from django.utils.cache import get_conditional_response, patch_cache_control, patch_vary_headers
from django.utils.http import http_date

from portal.accounts.languages import ASKED, speak_as_group
from portal.accounts.models import Group
from portal.public.versions import fingerprint, last_changed

# Seconds that a page may be shown again without asking: a correction shows within minutes.
FRESH = 300


def answer(
    request: HttpRequest, groups: Sequence[Group], make: Callable[[], HttpResponseBase]
) -> HttpResponseBase:
    """The page that `make` makes, or 304 where the reader has it; `groups` are rows of `with_version`."""
    if len(groups) == 1:
        speak_as_group(request, groups[0])
    if is_somebody(request):
        # The frame names them, so that nobody else may be given this answer.
        response = make()
        patch_cache_control(response, private=True, no_cache=True)
        return response
    etag = f'W/"{fingerprint(groups, request.get_full_path(), translation.get_language() or "")}"'
    changed = int(last_changed(groups).timestamp())
    response = get_conditional_response(request, etag=etag, last_modified=changed) or make()
    return _to_be_kept(request, response, etag, changed)


def is_somebody(request: HttpRequest) -> bool:
    """Whether the answer is for one reader alone: signed in, or owed a message."""
    return bool({settings.SESSION_COOKIE_NAME, settings.MESSAGES_COOKIE_NAME} & request.COOKIES.keys())


def _to_be_kept(request: HttpRequest, response: HttpResponseBase, etag: str, changed: int) -> HttpResponseBase:
    response.headers.setdefault("ETag", etag)
    response.headers.setdefault("Last-Modified", http_date(changed))
    # Asking for a language sets a cookie, which is one reader's own.
    if ASKED in request.GET:
        patch_cache_control(response, private=True, max_age=FRESH)
    else:
        patch_cache_control(response, public=True, max_age=FRESH)
    patch_vary_headers(response, ("Cookie", "Accept-Language"))
    return response
