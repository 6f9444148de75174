"""Renewing a permission: a short form on the desk, and a page of its own where something is to be mended."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, go_on, posted
from surveys.errors import NotPossible
from surveys.forms.permissions import PermissionForm
from surveys.services.permissions import renew_permission
from surveys.views.shared import find_site


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def permission_renew(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """Write down until when the landowner lets the group in."""
    group = enter(request, slug, "site.edit")
    site = find_site(group, site_id)
    form = PermissionForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            renew_permission(person=request.person, site=site, **form.cleaned_data)
        except NotPossible as reason:
            form.add_error(reason.field or None, reason.message)
        except ValidationError as refusal:
            form.add_error(None, " ".join(refusal.messages))
        else:
            messages.success(request, _("The permission for %(site)s is renewed.") % {"site": site})
            return go_on(request, group, "site_detail", slug=slug, site_id=site_id)
    context = {"form": form, "site": find_site(group, site_id)}
    return render(request, "surveys/permission_renew.html", context, status=422 if form.errors else 200)
