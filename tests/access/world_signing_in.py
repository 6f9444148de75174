"""How the people of the world sign in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from allauth.account.models import EmailAddress
from django.contrib.auth.hashers import MD5PasswordHasher

from portal.accounts.models import AddressChange
from portal.accounts.signing_in.address_changes import AGREE
from tests.second_factor import give_codes, give_passkey

if TYPE_CHECKING:
    from tests.access.world import World

# Its strength matters nothing here; made once, because a slow one for each would take a second.
PASSWORD = MD5PasswordHasher().encode("seven otters by the weir", "salt")


def add_ways_of_signing_in(world: World) -> None:
    """Everybody has a password; the coordinator has every second factor too, and a further address waits."""
    for user in filter(None, world.people.values()):
        user.password = PASSWORD
        user.save(update_fields=["password"])
    coordinator = world.people["coordinator"]
    assert coordinator is not None
    give_codes(coordinator)
    world.values["pk"] = give_passkey(coordinator).pk
    further = EmailAddress.objects.create(user=coordinator, email="cora.further@example.org")
    change = AddressChange.objects.create(address=further, present=coordinator.email)
    world.special["account_address_agree"] = {"token": AGREE.make(change.pk)}
