"""A site's trigger: the one in force, what another level would mean, and setting a new one."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.advice import Advice, advise
from alerts.charts import NARROW, draw_site, site_points, site_rows
from alerts.forms import LevelForm, TriggerForm
from alerts.models import Trigger
from alerts.queries import triggers_of
from alerts.services.triggers import set_trigger
from alerts.views.shared import find_site, try_service
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, posted
from surveys.models import Site

FIRST_INDEX = "bmwp"


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def trigger_set(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """Show the site's history against a level, and set a new trigger."""
    group = enter(request, slug, "trigger.set")
    site = find_site(group, site_id)
    form = TriggerForm(posted(request))
    if form.is_valid() and try_service(
        form, lambda: set_trigger(person=request.person, site=site, **form.cleaned_data)
    ):
        messages.success(request, _("The trigger is set."))
        return redirect("site_detail", slug=slug, site_id=site.pk)
    return _show(request, site, form)


def _show(request: PortalRequest, site: Site, form: TriggerForm) -> HttpResponse:
    triggers = list(triggers_of(site))
    now = next((each for each in reversed(triggers) if each.valid_from <= timezone.localdate()), None)
    level_form = LevelForm(request.GET if "index" in request.GET else None, initial=_initial(now))
    advice = _advice(site, level_form, now)
    if not form.is_bound:
        form.initial = {"index": advice.method.key, "level": advice.level and round(advice.level, 2)}
    points, lines = site_points(site, advice.method.key)
    context = {
        "site": site,
        "triggers": triggers,
        "trigger_now": now,
        "level_form": level_form,
        "advice": advice,
        "form": form,
        "chart_wide": draw_site(site, advice.method.key, points, lines),
        "chart_narrow": draw_site(site, advice.method.key, points, lines, size=NARROW),
        "chart_rows": site_rows(points, lines),
    }
    return render(request, "alerts/trigger_set.html", context, status=422 if form.errors else 200)


def _initial(now: Trigger | None) -> dict[str, object]:
    return {"index": now.index, "level": now.level} if now else {"index": FIRST_INDEX}


def _advice(site: Site, form: LevelForm, now: Trigger | None) -> Advice:
    if form.is_bound and form.is_valid():
        return advise(site, form.cleaned_data["index"], form.cleaned_data["level"])
    return advise(site, now.index, now.level) if now else advise(site, FIRST_INDEX)
