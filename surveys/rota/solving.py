"""The rota as a mixed-integer programme, solved by HiGHS. Pure: no database.

For each visit and each possible day a yes-or-no says whether the day is chosen, and for each person who can on
that day another says whether they go. What must hold are constraints; what is wished is weighed in this order:

1. as few open places as can be (`OPEN`);
2. load spread evenly: the n-th visit of one person costs (2n - 1) times `LOAD`, so that giving one more to
   whoever has least is always cheaper. `LOAD` outweighs all wishes below together: among people who can do the
   same, nobody has two more than another;
3. near the day that is due (`DAY_OFF` a day), people who live near (`KM` a kilometre, up to `FAR_KM`), and for
   some continuity one who was there last (`LAST_THERE`), but only for one place of a visit.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from time import monotonic
from typing import Any
from uuid import UUID

import highspy

from surveys.rota.volunteers import Month, Place, Volunteer, month_of

OPEN, LOAD, DAY_OFF, KM, FAR_KM, LAST_THERE = 10_000.0, 40.0, 0.2, 0.1, 40.0, 3.0
# Long enough for some forty people and half a year; nobody waits at a page for it.
TIME_LIMIT_S = 45.0
# How often it is told how long the solver has been at it.
TELL_S = 0.5


@dataclass(frozen=True)
class Slot:
    """One visit to find people for: its possible days, the day it is due, and who is on it already.

    A visit that is fixed has one possible day; `places` are those still open.
    """

    number: UUID
    place: Place
    due_on: date
    days: tuple[date, ...]
    places: int
    fixed: frozenset[UUID] = frozenset()
    has_adult: bool = False
    unwilling: frozenset[UUID] = frozenset()


@dataclass(frozen=True)
class Filled:
    """What was found for one visit."""

    slot: Slot
    day: date
    people: tuple[UUID, ...]

    @property
    def still_open(self) -> int:
        return self.slot.places - len(self.people)


@dataclass(frozen=True)
class Solution:
    """All visits; `is_best` says whether the solver proved that nothing better exists, or ran out of time."""

    visits: tuple[Filled, ...]
    is_best: bool
    seconds: float


@dataclass
class _Programme:
    solver: Any
    days: dict[tuple[UUID, date], Any] = field(default_factory=dict)
    goes: dict[tuple[UUID, date, UUID], Any] = field(default_factory=dict)
    by_person: dict[UUID, list[Any]] = field(default_factory=lambda: defaultdict(list))
    by_person_day: dict[tuple[UUID, date], list[Any]] = field(default_factory=lambda: defaultdict(list))
    by_person_month: dict[tuple[UUID, Month], list[Any]] = field(default_factory=lambda: defaultdict(list))


def _nobody_asks(_seconds: float) -> None:
    pass


def solve(
    slots: Sequence[Slot],
    volunteers: Sequence[Volunteer],
    *,
    time_limit: float = TIME_LIMIT_S,
    tell: Callable[[float], None] = _nobody_asks,
) -> Solution:
    """Choose a day and people for each visit; what nobody can take stays open.

    `tell` hears twice a second for how many seconds it has been at work; what it raises ends the work.
    """
    begun = monotonic()
    programme = _Programme(_quiet_solver(time_limit))
    for slot in slots:
        _add_slot(programme, slot, volunteers)
    for volunteer in volunteers:
        _limit(programme, volunteer)
    if not slots:
        return Solution((), True, 0.0)
    _forbid_one_site_twice_a_day(programme, slots)
    _run(programme.solver, tell)
    is_best = programme.solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    chosen = _values(programme)
    return Solution(tuple(_read(slot, chosen, volunteers) for slot in slots), is_best, monotonic() - begun)


class _Quiet(highspy.Highs):
    """HiGHS without the lines about itself that it prints as soon as it may call back."""

    def enableCallbacks(self) -> None:
        self.setOptionValue("output_flag", False)
        super().enableCallbacks()  # type: ignore[no-untyped-call]


def _quiet_solver(time_limit: float) -> Any:
    solver = _Quiet()  # type: ignore[no-untyped-call]
    # One thread and one seed: the same question has the same answer, and others keep their processor.
    options = {
        "log_to_console": False,
        "time_limit": time_limit,
        "threads": 1,
        "random_seed": 1,
    }
    # The gap must lie below the least step of load, lest fairness be lost in it.
    options |= {"mip_rel_gap": 0.0, "mip_abs_gap": 0.5}
    for name, value in options.items():
        solver.setOptionValue(name, value)
    return solver


def _run(solver: Any, tell: Callable[[float], None]) -> None:
    begun = monotonic()
    solver.setObjective(None, highspy.ObjSense.kMinimize)
    solver.HandleUserInterrupt = True
    solver.startSolve()
    try:
        while not solver.wait(TELL_S)[0]:
            tell(monotonic() - begun)
    except BaseException:
        solver.cancelSolve()
        solver.wait()
        raise


def _add_slot(programme: _Programme, slot: Slot, volunteers: Sequence[Volunteer]) -> None:
    solver = programme.solver
    chosen = [
        solver.addBinary(obj=DAY_OFF * abs((day - slot.due_on).days) + _later(slot, day)) for day in slot.days
    ]
    programme.days |= {(slot.number, day): variable for day, variable in zip(slot.days, chosen, strict=True)}
    solver.addConstr(solver.qsum(chosen) == 1)
    # An open place is dear but never forbidden: what nobody can take must not sink the whole rota.
    unfilled = solver.addVariable(lb=0, ub=slot.places, obj=OPEN)
    everybody: list[Any] = []
    for day, is_chosen in zip(slot.days, chosen, strict=True):
        everybody += _add_people(programme, slot, day, is_chosen, volunteers)
    solver.addConstr(solver.qsum([*everybody, unfilled]) == slot.places)


def _later(slot: Slot, day: date) -> float:
    # Of two days equally near, the earlier: there is more time to find another one.
    return 0.01 if day > slot.due_on else 0.0


def _add_people(
    programme: _Programme, slot: Slot, day: date, is_chosen: Any, volunteers: Sequence[Volunteer]
) -> list[Any]:
    """Variables for who can go on this day; none goes on a day that is not chosen."""
    adults: list[Any] = []
    minors: list[Any] = []
    last: list[Any] = []
    for volunteer in volunteers:
        if not _can(volunteer, slot, day):
            continue
        goes = programme.solver.addBinary(obj=_distance_cost(volunteer, slot))
        _file(programme, volunteer, slot, day, goes)
        (minors if volunteer.is_minor else adults).append(goes)
        if _was_last(volunteer, slot, volunteers):
            last.append(goes)
    _tie(programme.solver, slot, is_chosen, adults, minors)
    _welcome_one(programme.solver, last)
    return [*adults, *minors]


def _can(volunteer: Volunteer, slot: Slot, day: date) -> bool:
    out = volunteer.user_id in slot.fixed or volunteer.user_id in slot.unwilling
    return not out and volunteer.obstacle(slot.place, day) is None


def _file(programme: _Programme, volunteer: Volunteer, slot: Slot, day: date, goes: Any) -> None:
    programme.goes[slot.number, day, volunteer.user_id] = goes
    programme.by_person[volunteer.user_id].append(goes)
    programme.by_person_day[volunteer.user_id, day].append(goes)
    programme.by_person_month[volunteer.user_id, month_of(day)].append(goes)


def _tie(solver: Any, slot: Slot, is_chosen: Any, adults: list[Any], minors: list[Any]) -> None:
    everybody = [*adults, *minors]
    if everybody:
        solver.addConstr(solver.qsum(everybody) <= slot.places * is_chosen)
    # Never a minor without an adult.
    for minor in minors if not slot.has_adult else ():
        solver.addConstr(minor <= solver.qsum(adults) if adults else minor <= 0)


def _welcome_one(solver: Any, last: list[Any]) -> None:
    """Somebody who knows the site is welcome once; the other place is for others."""
    if last:
        welcome = solver.addVariable(lb=0, ub=1, obj=-LAST_THERE)
        solver.addConstr(welcome <= solver.qsum(last))


def _distance_cost(volunteer: Volunteer, slot: Slot) -> float:
    distance = volunteer.distance_km(slot.place)
    return KM * min(FAR_KM, distance if distance is not None else FAR_KM / 2)


def _was_last(volunteer: Volunteer, slot: Slot, volunteers: Iterable[Volunteer]) -> bool:
    days = [each.last_there[slot.place.site_id] for each in volunteers if slot.place.site_id in each.last_there]
    return bool(days) and volunteer.last_there.get(slot.place.site_id) == max(days)


def _limit(programme: _Programme, volunteer: Volunteer) -> None:
    """Once a day, as often a month as offered, and each further visit dearer than the last."""
    solver, own = programme.solver, volunteer.user_id
    for (user_id, _day), goes in programme.by_person_day.items():
        if user_id == own and len(goes) > 1:
            solver.addConstr(solver.qsum(goes) <= 1)
    for (user_id, month), goes in programme.by_person_month.items():
        if user_id == own:
            solver.addConstr(solver.qsum(goes) <= volunteer.left_in(month))
    everything = programme.by_person.get(own, [])
    if everything:
        # Each step costs more than the one before, so the solver takes the cheap ones first of itself.
        most = min(len(everything), 31)
        steps = [
            solver.addVariable(lb=0, ub=1, obj=LOAD * (2 * (volunteer.load + n) - 1))
            for n in range(1, most + 1)
        ]
        solver.addConstr(solver.qsum(everything) <= solver.qsum(steps))


def _forbid_one_site_twice_a_day(programme: _Programme, slots: Sequence[Slot]) -> None:
    """Two visits of one site stand on different days, as the database wants it too."""
    same: dict[tuple[UUID, date], list[Any]] = defaultdict(list)
    for slot in slots:
        for day in slot.days:
            same[slot.place.site_id, day].append(programme.days[slot.number, day])
    for variables in same.values():
        if len(variables) > 1:
            programme.solver.addConstr(programme.solver.qsum(variables) <= 1)


def _values(programme: _Programme) -> set[Any]:
    """The keys of everything that was chosen; nothing where the time was too short for any answer."""
    found: set[Any] = set()
    for variables in (programme.days, programme.goes):
        values = programme.solver.vals(list(variables.values())) if variables else []
        found |= {key for key, value in zip(variables, values, strict=True) if value > 0.5}
    return found


def _read(slot: Slot, chosen: set[Any], volunteers: Sequence[Volunteer]) -> Filled:
    nearest = min(slot.days, key=lambda day: abs((day - slot.due_on).days))
    day = next((each for each in slot.days if (slot.number, each) in chosen), nearest)
    people = [each.user_id for each in volunteers if (slot.number, day, each.user_id) in chosen]
    return Filled(slot, day, tuple(people))
