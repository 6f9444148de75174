"""Signed links by which a volunteer takes on a repeat visit, or gives it back, straight from the mail."""

from __future__ import annotations

from uuid import UUID

from django.conf import settings
from django.core.signing import BadSignature, SignatureExpired, TimestampSigner
from django.http import Http404
from django.urls import reverse

from alerts.links import MAX_AGE, DeadLink
from alerts.models import RepeatOffer
from portal.accounts.models import Membership

SALT = "alerts.repeat-offer"


def offer_token(offer: RepeatOffer) -> str:
    """The token that lets this volunteer answer this offer."""
    return TimestampSigner(salt=SALT).sign(offer.id.hex)


def offer_url(offer: RepeatOffer) -> str:
    """The whole address for the mail."""
    return settings.BASE_URL + reverse("repeat_link", args=[offer_token(offer)])


def read_offer(token: str) -> RepeatOffer:
    """Open a token; raises Http404 for one we never made, DeadLink after 60 days or when the member left."""
    try:
        number = TimestampSigner(salt=SALT).unsign(token, max_age=MAX_AGE)
    except SignatureExpired as late:
        raise DeadLink from late
    except BadSignature as forged:
        raise Http404 from forged
    rows = RepeatOffer.objects.across_groups("the signature names the offer")
    found = rows.select_related("user", "request__incident__site", "request__incident__group")
    offer = found.filter(id=UUID(number)).first()
    if offer is None or not _is_member(offer):
        raise DeadLink
    return offer


def _is_member(offer: RepeatOffer) -> bool:
    present = Membership.objects.of_group(offer.request.incident.group).filter(left_at=None)
    return present.filter(user=offer.user_id, user__is_active=True).exists()
