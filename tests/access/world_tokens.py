"""The keys' part of the world: one key of the volunteer's."""

from __future__ import annotations

from typing import TYPE_CHECKING

from portal.tokens.models import Scope
from portal.tokens.services import make_key
from tests.conftest import Cast

if TYPE_CHECKING:
    from tests.access.world import World


def add_keys(world: World, cast: Cast) -> None:
    """Vera's script reads visits."""
    made = make_key(
        person=cast.person("volunteer"),
        name="Script",
        scopes=[Scope.READ_VISITS],
        days=30,
        with_second_factor=True,
    )
    world.values["key_id"] = made.key.pk
