"""What a coordinator sees of the outbox."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from portal.outbox.queries import delivered_messages, undelivered_messages

SHOWN = 50


@login_required
@require_safe
def message_list(request: PortalRequest, slug: str) -> HttpResponse:
    """Messages that could not be delivered, with what the mail server said, and the last that could."""
    group = enter(request, slug, "outbox.view")
    undelivered = undelivered_messages(group)
    context = {
        "group": group,
        "undelivered": undelivered[:SHOWN],
        "undelivered_count": undelivered.count(),
        "delivered": delivered_messages(group)[:SHOWN],
    }
    return render(request, "outbox/message_list.html", context)
