"""A further address counts only once both it and the present one have said so.

Whoever has got into an account could otherwise make it theirs for good: with an address of their own they
would set a new password. So the present address is asked as well, by a link that also stops the change.
"""

from __future__ import annotations

from allauth.account.adapter import get_adapter
from allauth.account.models import EmailAddress
from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone

from portal.accounts.access import Person
from portal.accounts.models import AddressChange
from portal.accounts.signed_links import DeadLink, SignedLink
from portal.audit.services import record_change

# As long as the link that goes to the new address.
AGREE = SignedLink("accounts.address-change", days=3)


@transaction.atomic
def ask_present_address(request: HttpRequest, address: EmailAddress) -> AddressChange:
    """Write to the address that the account has now; the new one is written to by the sign-in library."""
    change, _is_new = AddressChange.objects.update_or_create(
        address=address, defaults={"present": address.user.email, "asked_at": timezone.now(), "agreed_at": None}
    )
    context = {
        "user": address.user,
        "new_email": address.email,
        "agree_url": AGREE.address("account_address_agree", change.pk),
    }
    get_adapter(request).send_notification_mail(
        "account/email/address_agree", address.user, context, email=change.present
    )
    return change


def change_of(token: str) -> AddressChange:
    """The change that a link of the present address stands for; DeadLink once decided or too old."""
    asked = AddressChange.objects.select_related("address__user").filter(
        pk=AGREE.read_id(token), agreed_at=None
    )
    change: AddressChange | None = asked.first()
    if change is None or change.address.user.email != change.present:
        raise DeadLink
    return change


def waits_for_present(address: EmailAddress) -> bool:
    """Whether the account's present address has not agreed yet; its own first address needs nobody's word."""
    if address.email.lower() == address.user.email.lower():
        return False
    return not AddressChange.objects.filter(address=address).exclude(agreed_at=None).exists()


@transaction.atomic
def confirm_new(address: EmailAddress) -> None:
    """The new address has said that it is theirs; what is missing is the present one's word."""
    AddressChange.objects.filter(address=address).update(confirmed_at=timezone.now())


@transaction.atomic
def agree_to_address(change: AddressChange) -> bool:
    """The present address agrees; whether the new one counts now, having been confirmed before."""
    locked = (
        AddressChange.objects.select_for_update(of=("self",)).select_related("address__user").get(pk=change.pk)
    )
    locked.agreed_at = timezone.now()
    locked.save(update_fields=["agreed_at"])
    record_change(actor=_owner(locked), verb="account.address_agreed", thing=locked.address.user)
    return bool(locked.confirmed_at and locked.address.set_verified())


@transaction.atomic
def stop_address(change: AddressChange) -> None:
    """The present address says that it was somebody else; the new one is forgotten, and its link with it."""
    record_change(actor=_owner(change), verb="account.address_stopped", thing=change.address.user)
    change.address.delete()


def _owner(change: AddressChange) -> Person:
    user = change.address.user
    return Person(user_id=user.pk, name=user.name)
