"""What is open to everybody: files of open data, and a catchment that the group shares with its neighbour."""

from __future__ import annotations

from typing import TYPE_CHECKING

from portal.public.catchments import found_catchment, join_catchment
from portal.public.data.services import make_open_data
from surveys.exporting.models import Blur, Licence, PublishingTerms
from surveys.exporting.services import set_terms

if TYPE_CHECKING:
    from tests.access.world import World
    from tests.conftest import Cast


def add_public(world: World, cast: Cast) -> None:
    """Terms with files made under them; a share for each of the two groups."""
    terms = PublishingTerms(group=cast.group, licence=Licence.CC_BY, blur=Blur.NEAR)
    set_terms(person=cast.person("coordinator"), group=cast.group, terms=terms)
    make_open_data(cast.group, lambda _done: None)
    share = found_catchment(person=cast.person("coordinator"), group=cast.group, name="River Alder")
    join_catchment(person=cast.person("neighbour_coordinator"), group=cast.neighbour, word=share.catchment.word)
    world.values |= {"catchment_id": share.catchment_id, "share_id": share.pk, "file_name": "results.csv"}
