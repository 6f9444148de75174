"""What volunteers are written about a repeat visit, owed in the caller's transaction."""

from __future__ import annotations

from django.conf import settings
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from alerts.models import RepeatOffer, RepeatRequest
from alerts.queries import who_to_call
from alerts.repeats.links import offer_url
from alerts.repeats.words import cautions, repeat_words
from portal.accounts.languages import speaking_to
from portal.accounts.models import User
from portal.outbox.models import Message
from portal.outbox.rendering import render_mail
from portal.outbox.services import owe_message
from surveys.models import Visit


def owe_offer(offer: RepeatOffer, low: Visit, *, key: str, headline: Promise) -> Message:
    """Offer the repeat visit to one volunteer; `key` says which round of asking it is."""
    request = offer.request
    with speaking_to(offer.user, request.incident.group):
        return _owe(
            request,
            offer.user,
            key=f"repeat:{request.id}:{key}:{offer.user.email}",
            kind="volunteer.repeat_offered",
            headline=headline,
            offer_url=offer_url(offer),
            words=repeat_words(low, low.verdict),
            cautions=cautions(),
            low=low,
        )


def owe_no_longer_needed(request: RepeatRequest, user: User, *, reason: Promise) -> Message:
    """Tell whoever took it on that they need not go."""
    with speaking_to(user, request.incident.group):
        return _owe(
            request,
            user,
            key=f"repeat:{request.id}:over:{user.email}",
            kind="volunteer.repeat_over",
            headline=_("The repeat visit is no longer needed"),
            reason=reason,
        )


def _owe(
    request: RepeatRequest, user: User, *, key: str, kind: str, headline: Promise, **told: object
) -> Message:
    incident = request.incident
    caller = who_to_call(incident.group)
    site_url = reverse("site_detail", args=[incident.group.slug, incident.site_id])
    context = {
        "request": request,
        "incident": incident,
        "site": incident.site,
        "reader": user,
        "headline": headline,
        "caller": caller,
        "site_url": settings.BASE_URL + site_url,
        **told,
    }
    subject, text, html = render_mail("alerts/mail/repeat", context)
    return owe_message(
        key=key,
        kind=kind,
        to_address=user.email,
        to_name=user.name,
        subject=subject,
        text=text,
        html=html,
        group=incident.group,
        reply_to=caller.email if caller else "",
        about=request,
    )
