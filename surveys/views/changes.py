"""Whether a site changed: for its group's members."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from surveys.comparing import words
from surveys.comparing.changes import SiteChange, change_of, indices_scored
from surveys.forms.changes import ChangeForm
from surveys.lists.recording import first_index
from surveys.views.shared import find_site


@login_required
@require_safe
def site_change(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """Trend, before and after a day the reader chooses, and the comparison with the next sites."""
    group = enter(request, slug, "site.view")
    site = find_site(group, site_id)
    asked = bool(request.GET.keys() & {"index", "since"})
    form = ChangeForm(request.GET if asked else None, methods=indices_scored(site))
    chosen = form.cleaned_data if form.is_valid() else {}
    change = change_of(site, chosen.get("index") or first_index(site.recording_list), chosen.get("since"))
    context = {"site": site, "form": form, "change": change, **_in_words(change)}
    return render(request, "surveys/site_change.html", context, status=422 if form.errors else 200)


def _in_words(change: SiteChange) -> dict[str, Any]:
    method = change.method
    return {
        "trend_lines": words.trend_lines(change),
        "trend_facts": words.trend_facts(change),
        "period_lines": words.period_lines(change),
        "period_facts": words.comparison_facts(change.periods, method),
        "pairings": [
            {
                "pairing": each,
                "lines": words.pairing_lines(each, method),
                "facts": words.comparison_facts(each.comparison, method),
                "impact_facts": words.comparison_facts(each.impact, method),
            }
            for each in change.pairings
        ],
    }
