"""On what terms the demo's groups give their records, and keys of the programs that they use."""

from __future__ import annotations

from collections.abc import Sequence

from portal.accounts.models import Group
from portal.demo.settling import Settlement
from portal.public.catchments import found_catchment, join_catchment, set_next_site
from portal.public.data.services import make_open_data
from portal.tokens.models import Scope
from portal.tokens.services import make_key, revoke_key
from surveys.exporting.models import Blur, Licence, PublishingTerms
from surveys.exporting.services import set_terms

DAYS = 365


def agree_on_terms(settlement: Settlement) -> None:
    """Records under a licence, places rounded, so that an archive can be made at once."""
    group: Group = settlement.group
    terms = PublishingTerms(
        group=group,
        licence=Licence.CC_BY,
        attribution=f"Volunteers of {group.name}",
        contact_email=f"records@{group.slug}.example",
        blur=Blur.NEAR,
    )
    set_terms(person=settlement.coordinators[0], group=group, terms=terms)


def lay_out_open_data(settlement: Settlement) -> None:
    """The files of the public page; those of a real portal are made within minutes."""
    make_open_data(settlement.group, lambda _rows: None)


def share_the_catchment(settlements: Sequence[Settlement]) -> None:
    """The first two groups show each other their sites; the second one's brook joins below the first one's."""
    founder, *others = settlements[:2]
    share = found_catchment(person=founder.coordinators[0], group=founder.group, name="River Quillet")
    for each in others:
        word = share.catchment.word
        joined = join_catchment(person=each.coordinators[0], group=each.group, word=word)
        lowest = founder.sites[founder.plan.sites[-1].code]
        set_next_site(person=each.coordinators[0], share=joined, site=lowest)


def hand_out_keys(settlement: Settlement) -> None:
    """A key in use and one that was revoked. Their texts are shown to nobody: make a new one to try it."""
    coordinator = settlement.coordinators[0]
    make_key(
        person=coordinator,
        name="Weekly copy of the records",
        scopes=[Scope.READ_SITES, Scope.READ_VISITS, Scope.EXPORT],
        days=DAYS,
        with_second_factor=True,
    )
    old = make_key(person=coordinator, name="Old laptop", scopes=[Scope.READ_VISITS], days=DAYS)
    revoke_key(person=coordinator, key=old.key)
