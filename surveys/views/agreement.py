"""How well two counts of one site and day agree."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from scoring.agreement import THRESHOLDS
from surveys.comparing.agreements import MEASURES, pairs_of, score_medians, year_rows, years_with_pairs

PAIRS_PER_PAGE = 25


@login_required
@require_safe
def agreement_list(request: PortalRequest, slug: str) -> HttpResponse:
    """The pairs of one year, the latest with any unless the address names another."""
    group = enter(request, slug, "visit.view")
    years = years_with_pairs(group)
    latest = years[0] if years else timezone.localdate().year
    asked = request.GET.get("year", "")
    year = int(asked) if asked.isascii() and asked.isdecimal() and int(asked) in years else latest
    pairs = pairs_of(group, year)
    context = {
        "year": year,
        "years": years,
        "query": urlencode({"year": year}),
        "number": len(pairs),
        "page": Paginator(pairs, PAIRS_PER_PAGE).get_page(request.GET.get("page")),
        "rows": year_rows(pairs),
        "score_rows": score_medians(pairs),
        "thresholds": [(MEASURES[name], threshold) for name, threshold in THRESHOLDS.items()],
    }
    return render(request, "surveys/agreement_list.html", context)
