"""Which e-mail addresses an account has proven to be its own.

Anybody may claim an address; only mail read there proves it. The proofs are kept by the sign-in library: those
of its own confirmation mails, and those of invitations that were accepted.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from allauth.account.models import EmailAddress
from django.db.models import QuerySet

from portal.accounts.models import User


def prove_address(user: User) -> bool:
    """Note that the account's holder reads mail at its address; False where another account proved it first."""
    address, _is_new = EmailAddress.objects.get_or_create(user=user, email=user.email.lower())
    address.set_as_primary(conditional=True)
    return bool(address.set_verified())


def proven_addresses(user_id: UUID) -> list[str]:
    """The proven addresses of an account in use, in lower case."""
    found = EmailAddress.objects.filter(user=user_id, user__is_active=True, verified=True)
    return [each.lower() for each in found.values_list("email", flat=True)]


def accounts_at(addresses: Iterable[str] | QuerySet[Any, Any]) -> set[UUID]:
    """The accounts in use that have proven one of these addresses, however it is spelt (one query).

    `addresses` may be a query itself, of one column in lower case.
    """
    wanted = addresses if isinstance(addresses, QuerySet) else {each.lower() for each in addresses}
    found = EmailAddress.objects.filter(email__in=wanted, user__is_active=True, verified=True)
    return set(found.values_list("user_id", flat=True))
