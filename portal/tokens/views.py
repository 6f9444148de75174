"""The page of one's own keys."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import posted
from portal.accounts.signing_in.second_factor import is_proven
from portal.tokens.forms import KeyForm
from portal.tokens.services import Made, TooManyKeys, keys_of, make_key, revoke_key

KEYS_PER_PAGE = 25


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def key_list(request: PortalRequest) -> HttpResponse:
    """One's keys, and a form for another; a new one is shown this once, on the answer itself."""
    form, made = KeyForm(posted(request)), None
    if request.method == "POST" and form.is_valid():
        made, form = _make(request, form)
    page = Paginator(keys_of(request.person), KEYS_PER_PAGE).get_page(request.GET.get("page"))
    context = {"form": form, "made": made, "page": page}
    return render(request, "tokens/key_list.html", context, status=422 if form.errors else 200)


def _make(request: PortalRequest, form: KeyForm) -> tuple[Made | None, KeyForm]:
    try:
        proven = is_proven(request)
        return make_key(person=request.person, with_second_factor=proven, **form.cleaned_data), KeyForm()
    except TooManyKeys as reason:
        form.add_error(None, str(reason))
        return None, form


@login_required
@require_POST
def key_revoke(request: PortalRequest, key_id: UUID) -> HttpResponse:
    """End one of one's own keys."""
    key = get_object_or_404(keys_of(request.person), id=key_id)
    revoke_key(person=request.person, key=key)
    messages.success(request, _("The key “%(name)s” opens nothing any more.") % {"name": key.name})
    return redirect("key_list")
