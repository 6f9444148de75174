"""The coordinator's draft: proposed, changed, published or thrown away."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted
from portal.jobs.models import Job
from portal.jobs.queries import live_job
from surveys.models import Site
from surveys.rota.forms import NewVisitForm, ProposalForm
from surveys.rota.queries import plans, proposal_of, proposed_places, silent_members
from surveys.rota.services.changes import plan_visit
from surveys.rota.services.proposing import KIND, request_proposal
from surveys.rota.services.publishing import discard_drafts, publish_rota
from surveys.rota.views.shared import attempt, carried_out


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def rota_draft(request: PortalRequest, slug: str) -> HttpResponse:
    """The draft, and the form that has it made anew in the background."""
    group = enter(request, slug, "rota.plan")
    form = ProposalForm(posted(request))
    if request.method == "POST" and form.is_valid() and (job := _ordered(request, group, form)):
        return redirect("job_detail", slug=slug, job_id=job.pk)
    return _show(request, group, form, NewVisitForm(sites=_sites(group)))


def _ordered(request: PortalRequest, group: Group, form: ProposalForm) -> Job | None:
    ordered: list[Job] = []
    carried_out(
        form,
        lambda: ordered.append(request_proposal(person=request.person, group=group, **form.cleaned_data)),
    )
    return ordered[0] if ordered else None


def _sites(group: Group) -> object:
    return Site.objects.of_group(group).filter(closed_on=None)


def _show(request: PortalRequest, group: Group, form: ProposalForm, visit_form: NewVisitForm) -> HttpResponse:
    context = {
        "form": form,
        "visit_form": visit_form,
        "plans": plans(group, timezone.localdate(), "draft"),
        "filled": proposed_places(group),
        "proposal": proposal_of(group),
        "silent": silent_members(group),
        "live": live_job(group, KIND),
    }
    wrong = form.errors or visit_form.errors
    return render(request, "rota/rota_draft.html", context, status=422 if wrong else 200)


@login_required
@require_POST
def rota_visit_add(request: PortalRequest, slug: str) -> HttpResponse:
    """Put one visit more into the draft."""
    group = enter(request, slug, "rota.plan")
    form = NewVisitForm(request.POST, sites=_sites(group))
    if form.is_valid() and carried_out(
        form, lambda: plan_visit(person=request.person, group=group, **form.cleaned_data)
    ):
        messages.success(request, _("The visit is in the draft. Now put people down, or propose anew."))
        return redirect("rota_draft", slug=slug)
    return _show(request, group, ProposalForm(), form)


@login_required
@require_POST
def rota_publish(request: PortalRequest, slug: str) -> HttpResponse:
    """Publish the draft and tell everybody who is down."""
    group = enter(request, slug, "rota.plan")
    thanks = _("Published. Everybody who is down is told by e-mail.")
    is_done = attempt(request, lambda: publish_rota(person=request.person, group=group), thanks)
    return redirect("rota_page" if is_done else "rota_draft", slug=slug)


@login_required
@require_POST
def rota_discard(request: PortalRequest, slug: str) -> HttpResponse:
    """Throw the draft away."""
    group = enter(request, slug, "rota.plan")
    number = discard_drafts(person=request.person, group=group)
    words = ngettext("%(number)s draft is thrown away.", "%(number)s drafts are thrown away.", number)
    messages.success(request, words % {"number": number})
    return redirect("rota_draft", slug=slug)
