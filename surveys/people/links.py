"""The signed links in e-mails to somebody who asks to join."""

from __future__ import annotations

from portal.accounts.signed_links import DeadLink, SignedLink
from surveys.people.models import Enquiry

# What they asked may be erased by the link for as long as it is kept: half a year after its last step.
ENQUIRY_LINK = SignedLink("people.enquiry", days=365, timeless=True)


def enquiry_behind(token: str) -> Enquiry:
    """The enquiry a token stands for; raises Http404 for a forged one, DeadLink for one erased or joined."""
    rows = Enquiry.objects.across_groups("the signature names the enquiry").exclude(state="joined")
    found = (
        rows.select_related("group", "first_site", "supervisor").filter(pk=ENQUIRY_LINK.read_id(token)).first()
    )
    if found is None:
        raise DeadLink
    return found
