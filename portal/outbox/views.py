"""What a coordinator sees of the outbox."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, go_on
from portal.outbox.queries import delivered_messages, undelivered_messages
from portal.outbox.services import retry_messages

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


@login_required
@require_POST
def messages_retry(request: PortalRequest, slug: str) -> HttpResponse:
    """Have everything that was not delivered tried once more, now."""
    group = enter(request, slug, "outbox.retry")
    number = retry_messages(person=request.person, group=group)
    told = ngettext("%(number)d message is tried again.", "%(number)d messages are tried again.", number)
    messages.info(request, told % {"number": number} if number else _("Nothing waits to be tried again."))
    return go_on(request, group, "message_list", slug=slug)
