"""Safe returns: started, given more time, and ended by those who went or by whoever knows them safe."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, acting_id, require
from portal.accounts.languages import speaking_to
from portal.accounts.models import Group, User
from portal.accounts.queries import members_of
from portal.accounts.walls import wide
from portal.audit.services import record_change
from portal.outbox.services import cancel_messages
from surveys.errors import Conflict, NotPossible
from surveys.models import ReturnEvent, ReturnNotice, SafeReturn, Site
from surveys.models.returns import Ending, ReturnEventKind, Step
from surveys.outings.mail import OVERDUE, PAIR, clock, tell_ended, tell_extended, tell_named_at_start, tell_pair
from surveys.outings.rules import rules_of
from surveys.people.pairs import NEEDS_ADULT, lacks_adult
from surveys.people.queries import minor_user_ids

LONGEST = timedelta(hours=24)
MORE_MINUTES = 30


@dataclass(frozen=True)
class Plan:
    """What a pair says before it goes. The named person is a member, or somebody given by name and address."""

    expected_at: datetime
    partner: UUID | None = None
    partner_name: str = ""
    phone: str = ""
    car: str = ""
    named_user: UUID | None = None
    named_name: str = ""
    named_email: str = ""


@transaction.atomic
def start_safe_return(*, person: Person, site: Site, number: UUID, plan: Plan) -> SafeReturn:
    """Start watching over an outing; the same number sent again is answered with what it started.

    Raises NotPossible at its field where the plan cannot be, Conflict where the number is somebody else's.
    """
    require(person, "return.start", site)
    # A form sent twice at once: the second waits for the first, and finds what it has made.
    starter = User.objects.select_for_update().get(pk=acting_id(person))
    with wide("a number made by a form may be anybody's"):
        found = SafeReturn.objects.across_groups("as anybody's").filter(pk=number)
        first = found.select_related("group", "site").first()
    if first:
        if first.started_by_id != starter.pk or first.group_id != site.group_id:
            raise Conflict
        return first
    made = _create(starter, site, number, plan)
    add_event(
        made, ReturnEventKind.STARTED, person.name, _("Back by %(time)s.") % {"time": clock(made.expected_at)}
    )
    record_change(actor=person, verb="safe_return.started", thing=made)
    tell_pair(made, Step.NONE)
    tell_named_at_start(made)
    return made


def _create(starter: User, site: Site, number: UUID, plan: Plan) -> SafeReturn:
    now = timezone.now()
    _check_time(plan.expected_at, now)
    members = {each.user_id: each.user for each in members_of(site.group)}
    partner = _member(members, plan.partner, "partner")
    named = _member(members, plan.named_user, "named_user")
    if partner == starter:
        raise NotPossible(_("You are one of the two; name the other."), "partner")
    _need_adult(site.group, starter, partner, plan)
    name, email = (named.name, named.email) if named else _outsider(plan)
    if email.casefold() in {each.email.casefold() for each in (starter, partner) if each}:
        raise NotPossible(_("Name somebody who stays on shore, not one of the two."), "named_user")
    rules = rules_of(site.group)
    return SafeReturn.objects.create(
        id=number,
        group=site.group,
        site=site,
        started_by=starter,
        partner=partner,
        partner_name="" if partner else plan.partner_name,
        phone=plan.phone,
        car=plan.car,
        named_user=named,
        named_name=name,
        named_email=email,
        started_at=now,
        expected_at=plan.expected_at,
        next_step_at=plan.expected_at,
        again_minutes=rules.again_minutes,
        coordinators_minutes=rules.coordinators_minutes,
        named_minutes=rules.named_minutes,
    )


def _need_adult(group: Group, starter: User, partner: User | None, plan: Plan) -> None:
    minors = minor_user_ids(group, timezone.localdate())
    went = {each.pk for each in (starter, partner) if each}
    if lacks_adult(minors, went, somebody_else=bool(plan.partner_name and not partner)):
        raise NotPossible(str(NEEDS_ADULT), "partner")


def _check_time(expected_at: datetime, now: datetime) -> None:
    if expected_at <= now:
        raise NotPossible(_("This time is past. Give the time at which you expect to be back."), "expected_at")
    if expected_at > now + LONGEST:
        raise NotPossible(_("Give a time within the next 24 hours."), "expected_at")


def _member(members: dict[UUID, User], wanted: UUID | None, field: str) -> User | None:
    if wanted is None:
        return None
    if wanted not in members:
        raise NotPossible(_("Choose a member of this group."), field)
    return members[wanted]


def _outsider(plan: Plan) -> tuple[str, str]:
    if not plan.named_name:
        raise NotPossible(_("Choose a member, or name somebody else."), "named_user")
    if not plan.named_email:
        raise NotPossible(_("Give the e-mail address of the person you name."), "named_email")
    return plan.named_name, plan.named_email


@transaction.atomic
def extend_safe_return(
    *, safe_return: SafeReturn, person: Person | None = None, notice: ReturnNotice | None = None
) -> SafeReturn:
    """Take 30 minutes more, counted from now or from the time expected, whichever is later.

    By a member of the pair, or by the link they were sent; raises NotPossible once it has ended.
    """
    extended = _locked(safe_return)
    actor = _actor(extended, person, notice, "return.extend")
    if not extended.is_live:
        raise NotPossible(_("This safe return has ended already. Start another one."))
    before = extended.expected_at
    extended.expected_at = max(timezone.now(), before) + timedelta(minutes=MORE_MINUTES)
    extended.next_step_at = extended.expected_at
    extended.round, extended.step = extended.round + 1, Step.NONE
    extended.save()
    # What was owed about the old time would only alarm; what is out already is answered below.
    for kind in (PAIR, OVERDUE):
        cancel_messages(extended, kind)
    with speaking_to(group=extended.group):
        note = _("Back by %(time)s.") % {"time": clock(extended.expected_at)}
    add_event(extended, ReturnEventKind.EXTENDED, actor, note)
    changes = {"expected_at": [before.isoformat(), extended.expected_at.isoformat()]}
    record_change(actor=person, actor_name=actor, verb="safe_return.extended", thing=extended, changes=changes)
    tell_extended(extended)
    return extended


@transaction.atomic
def end_safe_return(
    *, safe_return: SafeReturn, person: Person | None = None, notice: ReturnNotice | None = None
) -> SafeReturn:
    """Say that the pair is back (one of them) or safe (anybody else who was told).

    Pressed twice, the first time stands.
    """
    ended = _locked(safe_return)
    actor = _actor(ended, person, notice, "return.end")
    if not ended.is_live:
        return ended
    is_own = notice.is_of_pair if notice else person is not None and person.user_id in ended.pair_ids
    ended.ended_how = Ending.BACK if is_own else Ending.KNOWN_SAFE
    ended.ended_at, ended.ended_by_name, ended.next_step_at = timezone.now(), actor, None
    ended.save()
    cancel_messages(ended)
    add_event(ended, ReturnEventKind(ended.ended_how), actor)
    record_change(actor=person, actor_name=actor, verb=f"safe_return.{ended.ended_how}", thing=ended)
    tell_ended(ended, notice.email if notice else person.email if person else "")
    return ended


def _locked(safe_return: SafeReturn) -> SafeReturn:
    rows = SafeReturn.objects.across_groups("the return names its group").select_for_update(of=("self",))
    return rows.select_related("group", "site", "started_by", "partner").get(pk=safe_return.pk)


def _actor(safe_return: SafeReturn, person: Person | None, notice: ReturnNotice | None, action: str) -> str:
    """Who acts, by name: a person with the right, or whoever holds the link of a notice about this return."""
    if person is not None:
        require(person, action, safe_return)
        return person.name
    if notice is None or notice.safe_return_id != safe_return.pk:
        raise ValueError("Say who acts: a person, or the notice whose link was opened.")
    if action == "return.extend" and not notice.is_of_pair:
        raise NotPossible(_("Only those who went can take more time."))
    return notice.name


def add_event(
    safe_return: SafeReturn, kind: ReturnEventKind, actor_name: str = "", note: str = ""
) -> ReturnEvent:
    """Write one step of the course."""
    return ReturnEvent.objects.create(
        safe_return=safe_return, at=timezone.now(), kind=kind, actor_name=actor_name, note=note
    )
