"""The page on which anybody practises with the kick timer."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from portal.accounts.middleware import PortalRequest
from surveys.models import Site
from surveys.views.bank import open_bank_page


@open_bank_page
def bank_timer(request: PortalRequest) -> HttpResponse:
    """The timer with fields that nothing reads: a page to practise on, which stores nothing."""
    usual = Site()
    context = {
        "spots": usual.spots,
        "kicks": usual.kicks_per_spot,
        "seconds": usual.seconds_per_kick,
        "numbers": range(1, usual.spots + 1),
    }
    return render(request, "bank/bank_timer.html", context)
