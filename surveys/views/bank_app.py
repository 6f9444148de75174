"""What makes the bank pages an app: what to keep, the worker that keeps it, the manifest and its icons."""

from __future__ import annotations

import json

from django.http import Http404, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import cache_control, never_cache
from django.views.decorators.http import require_safe

from portal.accounts.middleware import PortalRequest
from surveys.api.problems import MEDIA_TYPE, problem_body
from surveys.offline.bank import bank_pages, kept_sites
from surveys.offline.icons import ICONS, icon_png
from surveys.offline.manifest import manifest
from surveys.offline.release import release, static_addresses

# Shared by the pages and the worker, in the order in which they need each other.
WORKER_SCRIPTS = ("js/bank/store.js", "js/bank/send.js", "js/bank/worker.js")


@never_cache
@require_safe
def bank_state(request: PortalRequest) -> HttpResponse:
    """Who is signed in, a fresh token, and the pages to keep with their versions; 401 for nobody."""
    person = request.person
    if not person.is_signed_in:
        body = problem_body(401, _("Nobody is signed in."))
        return JsonResponse(body, status=401, content_type=MEDIA_TYPE)
    today = timezone.localdate()
    sites = kept_sites(person, today)
    pages = bank_pages(person, sites, today)
    return JsonResponse(
        {
            "person": str(person.user_id),
            "name": person.name,
            "token": get_token(request),
            "release": release(),
            "kept": ngettext("%(number)s site", "%(number)s sites", len(sites)) % {"number": len(sites)},
            "pages": [{"address": page.address, "version": page.version} for page in pages],
        }
    )


@cache_control(no_cache=True)
@require_safe
def bank_worker(_request: PortalRequest) -> HttpResponse:
    """The service worker of everything under /bank/: what it keeps, and the scripts it is made of."""
    setup = {
        "release": release(),
        "files": static_addresses(),
        "offline": reverse("bank_offline"),
        "state": reverse("bank_state"),
        "home": reverse("bank_home"),
    }
    scripts = ", ".join(json.dumps(static(name)) for name in WORKER_SCRIPTS)
    text = f"self.bankSetup = {json.dumps(setup)};\nimportScripts({scripts});\n"
    return HttpResponse(text, content_type="text/javascript; charset=utf-8")


@require_safe
def bank_offline(request: PortalRequest) -> HttpResponse:
    """What a phone shows for a page that it could not keep; it names nobody, since anybody's phone keeps it."""
    return render(request, "bank/bank_offline.html")


@cache_control(max_age=3600)
@require_safe
def bank_manifest(_request: PortalRequest) -> HttpResponse:
    """The web app manifest."""
    return JsonResponse(manifest(), content_type="application/manifest+json")


@cache_control(max_age=86_400)
@require_safe
def bank_icon(_request: PortalRequest, name: str) -> HttpResponse:
    """An icon of the app as PNG."""
    if name not in ICONS:
        raise Http404
    return HttpResponse(icon_png(name), content_type="image/png")
