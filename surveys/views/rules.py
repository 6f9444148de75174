"""The public page that tells how a visit is checked."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portal.accounts.middleware import PortalRequest
from surveys.quantities import QUANTITIES
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
