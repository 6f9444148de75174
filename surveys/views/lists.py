"""Recording lists: those a group may use, what each supports, and the group's own ones made and changed."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from portal.accounts.access import allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted
from surveys.errors import NotPossible
from surveys.forms.lists import ListChangeForm, ListForm
from surveys.lists.lines import text_of
from surveys.lists.recording import (
    listed_with_numbers,
    lists_of,
    open_sites_with,
    retired_lists,
    sites_with,
    support_of,
    versions_of,
)
from surveys.models import RecordingList
from surveys.services.lists import change_list, create_list, retire_list


def _find(group: Group, list_id: UUID) -> RecordingList:
    return get_object_or_404(lists_of(group).prefetch_related("taxa"), id=list_id)


@login_required
@require_safe
def list_list(request: PortalRequest, slug: str) -> HttpResponse:
    """The lists that the group's sites may be given."""
    group = enter(request, slug, "site.view")
    context = {
        "lists": listed_with_numbers(group),
        "retired": retired_lists(group),
        "may_manage": allowed(request.person, "list.manage", group),
    }
    return render(request, "surveys/list_list.html", context)


@login_required
@require_safe
def list_detail(request: PortalRequest, slug: str, list_id: UUID) -> HttpResponse:
    """One version of a list: its taxa, where it is used, and which indices it supports."""
    group = enter(request, slug, "site.view")
    shown = _find(group, list_id)
    versions = list(versions_of(shown))
    supported, unsupported = support_of(shown)
    context = {
        "list": shown,
        "supported": supported,
        "unsupported": unsupported,
        "newest": versions[0],
        "other_versions": [each for each in versions if each.pk != shown.pk],
        "sites": sites_with(shown, group),
        "may_change": shown.group_id is not None
        and shown.retired_at is None
        and allowed(request.person, "list.manage", shown),
    }
    return render(request, "surveys/list_detail.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def list_create(request: PortalRequest, slug: str) -> HttpResponse:
    """Make a list of the group's own."""
    group = enter(request, slug, "list.manage")
    form = ListForm(posted(request))
    if request.method == "POST" and form.is_valid():
        made = create_list(person=request.person, group=group, **form.cleaned_data)
        messages.success(request, _("The list is made. Choose it at the sites that are recorded on it."))
        return redirect("list_detail", slug=slug, list_id=made.pk)
    return render(request, "surveys/list_create.html", {"form": form}, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def list_edit(request: PortalRequest, slug: str, list_id: UUID) -> HttpResponse:
    """Change a list of the group's own, which makes a new version."""
    group = enter(request, slug, "list.manage")
    shown = _find(group, list_id)
    if shown.group_id is None:
        raise PermissionDenied(_("A built-in list stays as it is. Make a list of your own instead."))
    initial = {"name": shown.name, "lines": text_of(shown.taxa.all())}
    form = ListChangeForm(posted(request), initial=initial)
    if request.method == "POST" and form.is_valid():
        answer = _change(request, slug, shown, form)
        if answer:
            return answer
    context = {"form": form, "list": shown}
    return render(request, "surveys/list_edit.html", context, status=422 if form.errors else 200)


def _change(request: PortalRequest, slug: str, shown: RecordingList, form: ListForm) -> HttpResponse | None:
    try:
        made = change_list(person=request.person, recording_list=shown, **form.cleaned_data)
    except NotPossible as reason:
        form.add_error(None, reason.message)
        return None
    messages.success(request, _("Version %(number)d takes the list's place.") % {"number": made.version})
    return redirect("list_detail", slug=slug, list_id=made.pk)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def list_retire(request: PortalRequest, slug: str, list_id: UUID) -> HttpResponse:
    """Take a list of the group's own out of use, once the page has named the sites that still need it."""
    group = enter(request, slug, "list.manage")
    shown = get_object_or_404(lists_of(group), id=list_id)
    if shown.group_id is None:
        raise PermissionDenied(_("A built-in list stays as it is."))
    refusal = ""
    if request.method == "POST":
        try:
            retire_list(person=request.person, recording_list=shown)
        except NotPossible as reason:
            refusal = str(reason.message)
        else:
            messages.success(
                request, _("“%(name)s” is out of use. Visits made on it keep it.") % {"name": shown}
            )
            return redirect("list_list", slug=slug)
    sites = open_sites_with(shown, group, timezone.localdate())
    context = {"list": shown, "sites": sites, "refusal": refusal}
    return render(request, "surveys/list_retire.html", context, status=422 if refusal else 200)
