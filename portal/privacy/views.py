"""Pages about what is kept of people: for everybody, for oneself and for coordinators."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Membership, User
from portal.accounts.pages import enter, posted
from portal.accounts.signed_links import by_link
from portal.accounts.signing_in.shown_again import shown_again
from portal.accounts.walls import wide
from portal.privacy import services
from portal.privacy.blocking import whatever_must_come_first
from portal.privacy.collecting import file_of
from portal.privacy.downloads import FILE_NAME, SHOWN, own_files, request_file
from portal.privacy.forms import ErasureForm, KeepingForm, LetterForm
from portal.privacy.models import WAITING_DAYS, Erasure
from portal.privacy.register import KEPT


@require_safe
def privacy_page(request: HttpRequest) -> HttpResponse:
    """What is kept of people, why and how long."""
    return render(request, "privacy/privacy_page.html", {"kinds": KEPT, "waiting_days": WAITING_DAYS})


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@shown_again(allow_get=True)
@never_cache
def own_data(request: PortalRequest) -> HttpResponseBase:
    """Have a file made of all that is kept of oneself, and fetch it."""
    if request.method == "POST":
        job = request_file(request.person)
        if job is None:
            # Without a group there is little, and no place for long work.
            return _attached(file_of(_account(request)))
        messages.success(request, _("Your file is being made. Look here again in a minute."))
        return redirect("own_data")
    with wide("a person may have left the group that it belongs to"):
        files = list(own_files(request.person)[:SHOWN])
    return render(request, "privacy/own_data.html", {"files": files})


@login_required
@require_safe
@shown_again()
@never_cache
def own_data_file(request: PortalRequest, job_id: UUID) -> HttpResponseBase:
    """The file itself, for nobody but whom it is about."""
    with wide("a person may have left the group that it belongs to"):
        job = get_object_or_404(own_files(request.person), pk=job_id)
    if not job.file:
        raise Http404
    return FileResponse(job.file.open("rb"), as_attachment=True, filename=job.file_name)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@shown_again(allow_get=True)
@never_cache
def erasure_ask(request: PortalRequest) -> HttpResponse:
    """Have oneself erased: what goes, what stays, and a second step."""
    user, form = _account(request), ErasureForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            services.ask_erasure(person=request.person, user=user)
        except ValidationError as first:
            form.add_error(None, first)
        else:
            messages.success(request, _("You will be erased. We have sent you a link to stop it."))
            return redirect("erasure_ask")
    waiting = services.waiting_erasure(user)
    context = {
        "form": form,
        "waiting": waiting,
        "stop": waiting and services.STOP_LINK.make(waiting.pk),
        "first": whatever_must_come_first(user),
        "kinds": KEPT,
        "days": WAITING_DAYS,
    }
    return render(request, "privacy/erasure_ask.html", context, status=422 if form.errors else 200)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@by_link(services.erasure_behind, gone="privacy/erasure_over.html")
def erasure_stop(request: HttpRequest, erasure: Erasure) -> HttpResponse:
    """Stop it by the link in the mail, signed in or not."""
    if request.method == "POST":
        services.stop_erasure(erasure)
        return render(request, "privacy/erasure_stopped.html")
    return render(request, "privacy/erasure_stop.html", {"erasure": erasure})


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def person_erase(request: PortalRequest, slug: str, membership_id: UUID) -> HttpResponse:
    """A coordinator has a member erased who asked for it by letter."""
    group = enter(request, slug, "people.manage")
    rows = Membership.objects.of_group(group).select_related("user", "group")
    membership = get_object_or_404(rows, pk=membership_id)
    form = LetterForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            services.ask_erasure_for(
                person=request.person, membership=membership, reason=form.cleaned_data["reason"]
            )
        except ValidationError as first:
            form.add_error(None, first)
        else:
            messages.success(request, _("They will be erased, and were sent a link to stop it."))
            return redirect("people_list", slug=slug)
    context = {
        "form": form,
        "membership": membership,
        "waiting": services.waiting_erasure(membership.user),
        "days": WAITING_DAYS,
    }
    return render(request, "privacy/person_erase.html", context, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def keeping_terms(request: PortalRequest, slug: str) -> HttpResponse:
    """After how many days the group lets things go."""
    group = enter(request, slug, "group.edit")
    form = KeepingForm(posted(request), instance=services.terms_of(group))
    if request.method == "POST" and form.is_valid():
        services.set_keeping_terms(person=request.person, group=group, days=form.cleaned_data)
        messages.success(request, _("The days are kept."))
        return redirect("keeping_terms", slug=slug)
    return render(request, "privacy/keeping_terms.html", {"form": form}, status=422 if form.errors else 200)


def _account(request: PortalRequest) -> User:
    assert isinstance(request.user, User)
    return request.user


def _attached(content: bytes) -> HttpResponse:
    answer = HttpResponse(content, content_type="application/zip")
    answer["Content-Disposition"] = f'attachment; filename="{FILE_NAME}"'
    return answer
