"""How a visit is checked: the public page of all rules, and how they do in one group."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from surveys.measuring.quantities import QUANTITIES
from surveys.review.rule_counts import rule_counts
from surveys.rules import RULES


@require_safe
def rules_table(request: PortalRequest) -> HttpResponse:
    """Every rule and every range with its source."""
    context = {
        "errors": [rule for rule in RULES if rule.severity == "error"],
        "findings": [rule for rule in RULES if rule.severity == "finding"],
        "quantities": QUANTITIES.values(),
    }
    return render(request, "surveys/rules_table.html", context)


@login_required
@require_safe
def rule_counts_list(request: PortalRequest, slug: str) -> HttpResponse:
    """How often each rule spoke in this group, and what became of it."""
    group = enter(request, slug, "visit.review")
    return render(request, "surveys/rule_counts_list.html", {"counts": rule_counts(group, timezone.now())})
