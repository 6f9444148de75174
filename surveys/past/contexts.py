"""Reads what the rules need to know beside the submission: three queries, or six for all of a sheet.

Four more for a kit, one for a position.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from uuid import UUID

from django.utils import timezone

from portal.accounts.models import Group, Membership
from surveys.models import Kit, Site
from surveys.outings.kits import KitState, kit_states
from surveys.outings.rules import rules_of
from surveys.past.of_many import Past, pasts_of
from surveys.past.of_one import PastOfOne, past_of_one
from surveys.people.pairs import Readiness
from surveys.people.queries import readiness_of
from surveys.rules.types import Context
from surveys.submission.types import Submission
from surveys.visits.positions import landmarks


@dataclass(frozen=True)
class Surroundings:
    """What the rules are told of submissions to one group: people that may be named, pasts of its sites.

    The pasts grow with the visits that are taken in.
    """

    members: frozenset[UUID]
    pasts: Mapping[UUID, Past | PastOfOne]
    past_record: bool = False
    today: date = field(default_factory=timezone.localdate)

    def context(self, submission: Submission, site: Site) -> Context:
        """The context of a submission to one of the sites (given with its group)."""
        past = self.pasts[site.pk]
        return Context(
            site=site,
            today=self.today,
            members=self.members,
            same_day=past.same_day(submission),
            history=past.before(submission),
            past_record=self.past_record,
            kit=_kit(submission, site),
            readiness=_readiness(submission, site, self.past_record),
            others=landmarks(site.group, site) if submission.position else (),
        )

    def add(self, submission: Submission) -> None:
        """It was taken in: what comes after it is held against it too."""
        self.pasts[submission.site].add(submission)


def surroundings_of(group: Group, sites: Collection[Site], *, quantities: Collection[str]) -> Surroundings:
    """What past records are held against that read no more than these quantities, in five queries."""
    # Whoever has left since may well have sampled in the past.
    known = frozenset(Membership.objects.of_group(group).values_list("user_id", flat=True))
    return Surroundings(known, pasts_of(sites, without=(), quantities=quantities), past_record=True)


def context_for(
    submission: Submission, site: Site, *, past_record: bool = False, known: Iterable[UUID] = ()
) -> Context:
    """The context of a submission to a site (given with its group).

    `known` are people who stand on the visit already: they may be named even after they left the group.
    """
    around = surroundings_for([submission], [site], past_record=past_record, known=known)
    return around.context(submission, site)


def surroundings_for(
    submissions: Sequence[Submission],
    sites: Collection[Site],
    *,
    past_record: bool = False,
    known: Iterable[UUID] = (),
) -> Surroundings:
    """What these submissions to sites of one group are held against; `known` as for `context_for`."""
    named = {each for said in submissions for each in (said.recorder, said.partner) if each}
    members = _members(named, next(iter(sites)).group, past_record, frozenset(known))
    return Surroundings(members, _pasts(submissions, sites), past_record)


def _pasts(
    submissions: Sequence[Submission], sites: Collection[Site]
) -> Mapping[UUID, Past] | Mapping[UUID, PastOfOne]:
    if len(submissions) == 1:
        return {site.pk: past_of_one(submissions[0], site) for site in sites}
    quantities = {each.quantity for said in submissions for each in said.measurements}
    return pasts_of(sites, without=[each.id for each in submissions], quantities=quantities)


def _readiness(submission: Submission, site: Site, past_record: bool) -> Readiness:
    # Of past records nobody knows any more who was trained, and nobody can be kept safe by saying so.
    went = [each for each in (submission.recorder, submission.partner) if each]
    if past_record or not submission.was_made:
        return Readiness()
    return readiness_of(site.group, went, submission.visited_on)


def _kit(submission: Submission, site: Site) -> KitState | None:
    kits = list(Kit.objects.of_group(site.group).filter(pk=submission.kit)) if submission.kit else []
    if not kits:
        return None
    drying_days = rules_of(site.group).drying_days
    return kit_states(site.group, kits, submission.visited_on, drying_days, besides=submission.id)[0]


def _members(named: set[UUID], group: Group, past_record: bool, known: frozenset[UUID]) -> frozenset[UUID]:
    if named <= known:
        return known
    found = Membership.objects.of_group(group).filter(user__in=named - known)
    # Whoever has left since may well have sampled in the past.
    found = found if past_record else found.filter(left_at=None)
    return known | frozenset(found.values_list("user_id", flat=True))
