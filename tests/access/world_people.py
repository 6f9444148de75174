"""What the pages about people need in the world: an enquiry, a training with its kind, hours."""

from __future__ import annotations

from typing import TYPE_CHECKING

from portal.accounts.models import Membership
from portal.privacy.models import Erasure
from portal.privacy.services import STOP_LINK
from surveys.people.links import ENQUIRY_LINK
from surveys.people.models import OtherHours
from tests.conftest import Cast
from tests.factories import days_ago
from tests.people.making import enquiry_in, trained

if TYPE_CHECKING:
    from tests.access.world import World


def add_people(world: World, cast: Cast) -> None:
    """Vera has a training and gave hours; somebody has asked to have a go."""
    enquiry = enquiry_in(cast.group)
    training = trained(cast.volunteer, cast.group)
    own = Membership.objects.of_group(cast.group).get(user=cast.volunteer)
    hours = OtherHours.objects.create(membership=own, day=days_ago(5), work="sorting", hours=2)
    world.values |= {
        "enquiry_id": enquiry.pk,
        "training_id": training.pk,
        "kind_id": training.kind_id,
        "hours_id": hours.pk,
    }
    # Nobody signs in with it; who has no password at all is not asked for it again, but refused.
    for user in filter(None, world.people.values()):
        user.password = "no digest"
        user.save(update_fields=["password"])
    # Of somebody whom nothing else here is about.
    erasure = Erasure.objects.create(user=cast.stranger)
    world.special["erasure_stop"] = {"token": STOP_LINK.make(erasure.pk)}
    for name in ("enquiry_link", "enquiry_confirm", "enquiry_erase"):
        world.special[name] = {"token": ENQUIRY_LINK.make(enquiry.pk)}
