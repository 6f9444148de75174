"""Proposing a rota: who goes where when, as a draft that nobody is told of."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, time, timedelta
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, acting_id, require
from portal.accounts.languages import speaking_to
from portal.accounts.models import Group
from portal.audit.services import record_change
from surveys.errors import NotPossible
from surveys.models import Site
from surveys.people.queries import minor_user_ids
from surveys.rota.due import DueVisit, visits_due, window_of
from surveys.rota.gathering import place_of_site, volunteers_of
from surveys.rota.models import LIVE, Assignment, PlannedVisit, Proposal
from surveys.rota.models.plans import USUAL_START
from surveys.rota.queries import planned_visits, silent_members
from surveys.rota.reasons import reasons_of, why_open
from surveys.rota.solving import Filled, Slot, Solution, solve
from surveys.rota.volunteers import Volunteer

LONGEST_WEEKS = 26
FARTHEST = timedelta(days=366)
# Somebody who changes the rota just then is waited for, but not for ever.
MOST_TRIES = 3
State = PlannedVisit.State


@dataclass
class _Work:
    """What one proposal is made of: visits that stay, with open places, and visits that are new."""

    group: Group
    volunteers: list[Volunteer]
    silent: int
    start: time
    left_out: list[str]
    standing: dict[UUID, PlannedVisit] = field(default_factory=dict)
    new: dict[UUID, DueVisit] = field(default_factory=dict)
    slots: list[Slot] = field(default_factory=list)

    def asks_the_same(self, other: _Work) -> bool:
        """Whether the solver is told the same, so that its answer to one is that to the other."""
        return self.slots == other.slots and self.volunteers == other.volunteers


def _nothing(_told: Any) -> None:
    pass


def propose_rota(
    *,
    person: Person,
    group: Group,
    first_day: date,
    weeks: int,
    start: time = USUAL_START,
    tell: Callable[[float], None] = _nothing,
    on_written: Callable[[Proposal], None] = _nothing,
) -> Proposal:
    """Make the draft anew for so many weeks; what is published or was changed by hand stays.

    Only its open places are filled. No row is held while the solver works: what it found is written only if
    the rota still asks the same. `tell` hears how many seconds it has worked, `on_written` of the proposal in
    the transaction that writes it. Raises NotPossible at the field for a span that cannot be planned, and
    where the rota changes all the time.
    """
    require(person, "rota.plan", group)
    check_span(first_day, weeks)
    span = (first_day, first_day + timedelta(days=7 * weeks - 1))
    for _try in range(MOST_TRIES):
        work = _look(group, span, start)
        solution = solve(work.slots, work.volunteers, tell=tell)
        proposal = _write_if_the_same(person, work, span, solution, on_written)
        if proposal:
            return proposal
    raise NotPossible(_("The rota is being changed just now. Propose again in a moment."))


def _look(group: Group, span: tuple[date, date], start: time) -> _Work:
    """The work as it would be with the earlier draft gone; nothing is changed yet."""
    with transaction.atomic():
        work = _begin(group, span, start)
        transaction.set_rollback(True)
    return work


def _begin(group: Group, span: tuple[date, date], start: time) -> _Work:
    _clear(group)
    standing = _standing(group)
    due = visits_due(group, *span, [(each.site, each.day) for each in standing])
    work = _Work(group, volunteers_of(group, *span), len(silent_members(group)), start, due.left_out)
    _gather(work, standing, due.visits, span)
    return work


@transaction.atomic
def _write_if_the_same(
    person: Person,
    looked_at: _Work,
    span: tuple[date, date],
    solution: Solution,
    on_written: Callable[[Proposal], None],
) -> Proposal | None:
    group = looked_at.group
    # Two proposals at once: the second waits, and then replaces the first one's draft.
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)
    # Why somebody is proposed is read by the whole group, not only by whoever ordered the proposal.
    with speaking_to(group=group), transaction.atomic():
        work = _begin(group, span, looked_at.start)
        if not work.asks_the_same(looked_at):
            # The earlier draft stays until there is a new one.
            transaction.set_rollback(True)
            return None
        _write(work, solution)
    proposal = _note(person, group, span, work.left_out, solution)
    on_written(proposal)
    return proposal


def check_span(first_day: date, weeks: int) -> None:
    """Raises NotPossible at the field for days that are past or too far ahead."""
    if first_day < timezone.localdate():
        raise NotPossible(_("This day is past. Begin today or later."), "first_day")
    if first_day > timezone.localdate() + FARTHEST:
        raise NotPossible(_("Begin within a year."), "first_day")
    if not 1 <= weeks <= LONGEST_WEEKS:
        raise NotPossible(_("Plan for 1 to 26 weeks."), "weeks")


def _clear(group: Group) -> None:
    """Take away what an earlier proposal has made and nobody has touched."""
    drafts = PlannedVisit.objects.of_group(group).filter(state=State.DRAFT)
    drafts.filter(by_hand=False).delete()
    proposed = Assignment.objects.of_group(group).filter(state=Assignment.State.PROPOSED, by_hand=False)
    proposed.delete()


def _standing(group: Group) -> list[PlannedVisit]:
    """Planned visits that stay: to come, or of these days, with nothing recorded for them yet."""
    rows = planned_visits(group).filter(state__in=(State.DRAFT, State.PUBLISHED))
    found = rows.filter(window_until__gte=timezone.localdate())
    return [each for each in found if getattr(each, "recorded_id", None) is None]


def _gather(
    work: _Work, standing: Sequence[PlannedVisit], due: Sequence[DueVisit], span: tuple[date, date]
) -> None:
    minors = minor_user_ids(work.group, span[0])
    # A place open on a visit that stands is filled like any other, but its day is not moved.
    for planned in standing:
        slot = _standing_slot(planned, minors)
        if slot.places and span[0] <= planned.day <= span[1]:
            work.standing[planned.pk] = planned
            work.slots.append(slot)
    for visit in due:
        # The same visit has the same number each time it is looked at.
        number = uuid5(visit.site.pk, str(visit.due_on))
        work.new[number] = visit
        place = place_of_site(visit.site)
        work.slots.append(Slot(number, place, visit.due_on, visit.days, visit.site.people_needed))


def _standing_slot(planned: PlannedVisit, minors: set[UUID]) -> Slot:
    everybody = list(planned.assignments.all())
    down = {each.user_id for each in everybody if each.state in (*LIVE, Assignment.State.PROPOSED)}
    return Slot(
        number=planned.pk,
        place=place_of_site(planned.site),
        due_on=planned.day,
        days=(planned.day,),
        places=max(0, planned.people_needed - len(down)),
        fixed=frozenset(down),
        has_adult=bool(down - minors),
        # Whoever has said no, or was taken off, is not asked for this visit again.
        unwilling=frozenset({each.user_id for each in everybody} - down),
    )


def _write(work: _Work, solution: Solution) -> None:
    counts: Counter[tuple[object, object]] = Counter()
    # In order of days, so that "visit 2 that month" is the second one.
    for found in sorted(solution.visits, key=lambda each: each.day):
        planned = work.standing.get(found.slot.number) or _create(work, found)
        planned.open_because = why_open(found, work.volunteers, work.silent) if found.still_open else ""
        planned.save(update_fields=["open_because"])
        reasons = reasons_of(found, work.volunteers, counts)
        Assignment.objects.bulk_create(
            Assignment(planned=planned, user_id=user_id, day=found.day, why=reason)
            for user_id, reason in zip(found.people, reasons, strict=True)
        )


def _create(work: _Work, found: Filled) -> PlannedVisit:
    visit = work.new[found.slot.number]
    return new_planned(visit.site, found.day, visit.due_on, work.start)


def new_planned(site: Site, day: date, due_on: date, start: time, **facts: Any) -> PlannedVisit:
    """A draft of one visit, saved."""
    window = window_of(site)
    return PlannedVisit.objects.create(
        group_id=site.group_id,
        site=site,
        day=day,
        start=start,
        due_on=due_on,
        window_from=day - window,
        window_until=day + window,
        people_needed=site.people_needed,
        **facts,
    )


def _note(
    person: Person, group: Group, span: tuple[date, date], left_out: list[str], solution: Solution
) -> Proposal:
    rows = Proposal.objects.of_group(group)
    values = {
        "made_by_id": acting_id(person),
        "made_at": timezone.now(),
        "first_day": span[0],
        "last_day": span[1],
        "left_out": left_out,
        "is_best": solution.is_best,
        "seconds": round(solution.seconds, 2),
    }
    proposal, _is_new = rows.update_or_create(group=group, defaults=values)
    told = {"days": [None, f"{span[0]} {span[1]}"], "visits": [None, len(solution.visits)]}
    record_change(actor=person, verb="rota.proposed", thing=proposal, changes=told)
    return proposal
