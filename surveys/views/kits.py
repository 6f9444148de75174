"""The group's kits: where they were last, and how they were cleaned since."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
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
from surveys.forms.outings import CleaningForm, KitForm
from surveys.models import Kit
from surveys.outings.kits import history_of_kit, kit_states
from surveys.outings.rules import rules_of
from surveys.services.kits import clean_kit, save_kit


def _find(group: Group, kit_id: UUID) -> Kit:
    return get_object_or_404(Kit.objects.of_group(group), id=kit_id)


@login_required
@require_safe
def kit_list(request: PortalRequest, slug: str) -> HttpResponse:
    """Every kit, where it was last, and whether it may go to another water."""
    group = enter(request, slug, "kit.view")
    today = timezone.localdate()
    states = kit_states(group, list(Kit.objects.of_group(group)), today, rules_of(group).drying_days)
    context = {
        "rows": [(each, each.is_clean(today)) for each in states if each.kit.retired_at is None],
        "retired": [each.kit for each in states if each.kit.retired_at],
        "may_manage": allowed(request.person, "kit.manage", group),
    }
    return render(request, "surveys/kit_list.html", context)


@login_required
@require_safe
def kit_detail(request: PortalRequest, slug: str, kit_id: UUID) -> HttpResponse:
    """One kit with its whole history."""
    group = enter(request, slug, "kit.view")
    kit = _find(group, kit_id)
    today = timezone.localdate()
    (state,) = kit_states(group, [kit], today, rules_of(group).drying_days)
    context = {
        "kit": kit,
        "state": state,
        "is_clean": state.is_clean(today),
        "events": history_of_kit(kit),
        "may_manage": allowed(request.person, "kit.manage", group),
    }
    return render(request, "surveys/kit_detail.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def kit_create(request: PortalRequest, slug: str) -> HttpResponse:
    """Add a kit."""
    group = enter(request, slug, "kit.manage")
    form = KitForm(posted(request))
    kit = _saved(request, group, None, form) if request.method == "POST" else None
    if kit:
        messages.success(request, _("%(kit)s is added.") % {"kit": kit})
        return redirect("kit_detail", slug=slug, kit_id=kit.pk)
    return render(request, "surveys/kit_create.html", {"form": form}, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def kit_edit(request: PortalRequest, slug: str, kit_id: UUID) -> HttpResponse:
    """Change a kit, or take it out of use."""
    group = enter(request, slug, "kit.manage")
    kit = _find(group, kit_id)
    form = KitForm(posted(request), instance=kit)
    # Read again, because checking the form changes the one it was given.
    stored = _find(group, kit_id)
    if request.method == "POST" and _saved(request, group, stored, form):
        messages.success(request, _("The changes are saved."))
        return redirect("kit_detail", slug=slug, kit_id=kit.pk)
    context = {"form": form, "kit": stored}
    return render(request, "surveys/kit_edit.html", context, status=422 if form.errors else 200)


def _saved(request: PortalRequest, group: Group, kit: Kit | None, form: KitForm) -> Kit | None:
    """The saved kit, or None with the mistakes on the form."""
    if not form.is_valid():
        return None
    try:
        return save_kit(person=request.person, group=group, kit=kit, **form.cleaned_data)
    except NotPossible as reason:
        form.add_error(reason.field or None, reason.message)
        return None


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def kit_clean(request: PortalRequest, slug: str, kit_id: UUID) -> HttpResponse:
    """Write down how a kit was cleaned."""
    group = enter(request, slug, "kit.clean")
    kit = _find(group, kit_id)
    form = CleaningForm(posted(request), initial={"cleaned_on": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        try:
            clean_kit(person=request.person, kit=kit, **form.cleaned_data)
        except NotPossible as reason:
            form.add_error(reason.field or None, reason.message)
        else:
            messages.success(request, _("The cleaning is written down."))
            return redirect("kit_detail", slug=slug, kit_id=kit.pk)
    context = {"form": form, "kit": kit, "drying_days": rules_of(group).drying_days}
    return render(request, "surveys/kit_clean.html", context, status=422 if form.errors else 200)
