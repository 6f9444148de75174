"""Pages behind the signed link in a mail about a safe return. Reading changes nothing; only the buttons do."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from portal.accounts.signed_links import by_link, token_of
from surveys.errors import NotPossible
from surveys.models import ReturnNotice
from surveys.outings.returns import minutes_late, read_token
from surveys.outings.rules import rules_of
from surveys.places.sites import place_of
from surveys.services.safe_returns import end_safe_return, extend_safe_return

by_notice = by_link(read_token, "surveys/return_gone.html")


@require_safe
@never_cache
@by_notice
def return_link(request: HttpRequest, notice: ReturnNotice) -> HttpResponse:
    """Where the pair went and until when, and the buttons; once it has ended, only that."""
    found = notice.safe_return
    context = {
        "notice": notice,
        "safe_return": found,
        "site": found.site,
        "place": place_of(found.site),
        "rules": rules_of(found.group),
        "overdue": minutes_late(found.expected_at, timezone.now()),
        "token": token_of(request),
    }
    return render(request, "surveys/return_link.html", context)


@require_POST
@never_cache
@by_notice
def return_link_end(request: HttpRequest, notice: ReturnNotice) -> HttpResponse:
    """Say that one is back, or that one knows them to be safe."""
    end_safe_return(safe_return=notice.safe_return, notice=notice)
    return redirect("return_link", token=token_of(request))


@require_POST
@never_cache
@by_notice
def return_link_extend(request: HttpRequest, notice: ReturnNotice) -> HttpResponse:
    """Take 30 minutes more."""
    try:
        extend_safe_return(safe_return=notice.safe_return, notice=notice)
    except NotPossible as reason:
        messages.error(request, reason.message)
    else:
        messages.success(request, _("You have 30 minutes more."))
    return redirect("return_link", token=token_of(request))
