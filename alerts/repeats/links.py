"""Signed links by which a volunteer takes on a repeat visit, or gives it back, straight from the mail."""

from __future__ import annotations

from alerts.models import RepeatOffer
from portal.accounts.models import Membership
from portal.accounts.signed_links import DeadLink, SignedLink

OFFER = SignedLink("alerts.repeat-offer", days=60)


def offer_token(offer: RepeatOffer) -> str:
    """The token that lets this volunteer answer this offer."""
    return OFFER.make(offer.id)


def offer_url(offer: RepeatOffer) -> str:
    """The whole address for the mail."""
    return OFFER.address("repeat_link", offer.id)


def read_offer(token: str) -> RepeatOffer:
    """Open a token; raises Http404 for one we never made, DeadLink after 60 days or when the member left."""
    rows = RepeatOffer.objects.across_groups("the signature names the offer")
    found = rows.select_related("user", "request__incident__site", "request__incident__group")
    offer = found.filter(id=OFFER.read_id(token)).first()
    if offer is None or not _is_member(offer):
        raise DeadLink
    return offer


def _is_member(offer: RepeatOffer) -> bool:
    present = Membership.objects.of_group(offer.request.incident.group).filter(left_at=None)
    return present.filter(user=offer.user_id, user__is_active=True).exists()
