"""Trainings: the kinds a group keeps, who has which, and writing them down."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, go_on, posted
from portal.accounts.queries import PEOPLE_PER_PAGE, members_of
from surveys.errors import NotPossible
from surveys.people.forms.enquiries import ReasonForm
from surveys.people.forms.records import KindForm, TrainingForm
from surveys.people.models import Training, TrainingKind
from surveys.people.queries import LAPSE_DAYS, lapsing_trainings, training_table
from surveys.people.services import trainings as services
from surveys.people.services.trainings import Trained
from surveys.people.views.persons import find_membership


@login_required
@require_safe
def training_list(request: PortalRequest, slug: str) -> HttpResponse:
    """Whose training lapses, and who has which in force."""
    group = enter(request, slug, "training.manage")
    today = timezone.localdate()
    page = Paginator(members_of(group), PEOPLE_PER_PAGE).get_page(request.GET.get("page"))
    kinds, rows = training_table(group, today, page)
    context = {
        "lapsing": lapsing_trainings(group, today),
        "kinds": kinds,
        "rows": rows,
        "page": page,
        "today": today,
        "lapse_days": LAPSE_DAYS,
    }
    return render(request, "people/training_list.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def training_record(request: PortalRequest, slug: str, membership_id: UUID) -> HttpResponse:
    """Write down a training of a member."""
    group = enter(request, slug, "training.manage")
    membership = find_membership(group, membership_id)
    form = TrainingForm(posted(request), membership=membership)
    if request.method == "POST" and form.is_valid():
        try:
            trained = Trained(**form.cleaned_data)
            services.record_training(person=request.person, membership=membership, trained=trained)
        except NotPossible as reason:
            form.add_error(reason.field or None, reason.message)
        else:
            messages.success(request, _("The training is written down."))
            return go_on(request, group, "person_detail", slug=slug, membership_id=membership_id)
    context = {"form": form, "membership": membership}
    return render(request, "people/training_record.html", context, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def training_withdraw(request: PortalRequest, slug: str, training_id: UUID) -> HttpResponse:
    """Take a record back, with a reason."""
    group = enter(request, slug, "training.manage")
    rows = Training.objects.of_group(group).select_related("membership__user", "membership__group", "kind")
    training = get_object_or_404(rows, id=training_id)
    form = ReasonForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            services.withdraw_training(person=request.person, training=training, **form.cleaned_data)
        except NotPossible as reason:
            form.add_error(reason.field or None, reason.message)
        else:
            messages.success(request, _("Withdrawn. It stays readable and counts no more."))
            return redirect("person_detail", slug=slug, membership_id=training.membership_id)
    context = {"form": form, "training": training}
    return render(request, "people/training_withdraw.html", context, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def kind_list(request: PortalRequest, slug: str) -> HttpResponse:
    """The kinds of training the group keeps, and a form for one more."""
    group = enter(request, slug, "training.manage")
    form = KindForm(posted(request))
    if request.method == "POST" and _saved(request, group, form, None):
        messages.success(request, _("The kind is added."))
        return redirect("kind_list", slug=slug)
    context = {"form": form, "kinds": TrainingKind.objects.of_group(group)}
    return render(request, "people/kind_list.html", context, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def kind_edit(request: PortalRequest, slug: str, kind_id: UUID) -> HttpResponse:
    """Change a kind, or keep it no longer."""
    group = enter(request, slug, "training.manage")
    kind = get_object_or_404(TrainingKind.objects.of_group(group), id=kind_id)
    form = KindForm(posted(request), instance=kind)
    # Read again, because checking the form changes the one it was given.
    stored = get_object_or_404(TrainingKind.objects.of_group(group), id=kind_id)
    if request.method == "POST" and _saved(request, group, form, stored):
        messages.success(request, _("The changes are saved."))
        return redirect("kind_list", slug=slug)
    context = {"form": form, "kind": stored}
    return render(request, "people/kind_edit.html", context, status=422 if form.errors else 200)


def _saved(request: PortalRequest, group: Group, form: KindForm, kind: TrainingKind | None) -> bool:
    if not form.is_valid():
        return False
    try:
        services.save_kind(person=request.person, group=group, kind=kind, **form.cleaned_data)
    except NotPossible as reason:
        form.add_error(reason.field or None, reason.message)
        return False
    return True


@login_required
@require_POST
def kinds_usual(request: PortalRequest, slug: str) -> HttpResponse:
    """Add the kinds that most groups keep."""
    group = enter(request, slug, "training.manage")
    services.add_usual_kinds(person=request.person, group=group)
    messages.success(request, _("The usual kinds are there; change them as you need."))
    return redirect("kind_list", slug=slug)
