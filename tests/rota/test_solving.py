"""Rules of every proposal, tried on many invented groups: what must hold holds, and load is shared."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from uuid import UUID, uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from surveys.rota import solving
from surveys.rota.solving import Filled, Slot, Solution, solve
from surveys.rota.volunteers import Obstacle, Place, Volunteer, month_of
from tests.chance import tries

MONDAY = date(2026, 6, 1)
SPAN = [MONDAY + timedelta(days=n) for n in range(28)]
HERE = Place(uuid4(), 54.5, -2.5)
FAR = Place(uuid4(), 55.5, -2.5)
tried = settings(
    max_examples=tries(60), deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)


def day(number: int) -> date:
    return MONDAY + timedelta(days=number)


def slot(place: Place = HERE, due: int = 7, spread: int = 3, places: int = 2, **facts: object) -> Slot:
    days = tuple(day(due + n) for n in range(-spread, spread + 1))
    return Slot(uuid4(), place, day(due), days, places, **facts)  # type: ignore[arg-type]


def volunteer(name: str = "Vera", **facts: object) -> Volunteer:
    return Volunteer(uuid4(), name, **{"weekdays": frozenset(range(7))} | facts)  # type: ignore[arg-type]


@st.composite
def people(draw: st.DrawFn) -> Volunteer:
    """Somebody with any mixture of days, limits, distance, training, age and visits in hand."""
    days = st.sampled_from(SPAN)
    away = draw(st.lists(days, max_size=2))
    taken = draw(st.dictionaries(st.just((2026, 6)), st.integers(0, 3), max_size=1))
    trained = draw(st.none() | st.frozensets(days, min_size=14))
    return Volunteer(
        uuid4(),
        "Vera",
        weekdays=draw(st.frozensets(st.integers(0, 6))),
        can=tuple((each, each) for each in draw(st.lists(days, max_size=2))),
        away=tuple((each, each + timedelta(days=3)) for each in away),
        most_a_month=draw(st.integers(1, 4)),
        home=draw(st.none() | st.tuples(st.floats(54.3, 55.6), st.floats(-2.6, -2.4))),
        travel_km=draw(st.none() | st.integers(1, 150)),
        near_sites=draw(st.frozensets(st.sampled_from([HERE.site_id, FAR.site_id]), max_size=1)),
        is_minor=draw(st.booleans()),
        trained_on=trained,
        busy=draw(st.frozensets(days, max_size=4)),
        taken=taken,
        last_there=draw(st.dictionaries(st.just(HERE.site_id), st.just(day(-20)), max_size=1)),
    )


slots = st.builds(
    slot,
    place=st.sampled_from([HERE, FAR]),
    due=st.integers(3, 24),
    spread=st.integers(0, 3),
    places=st.integers(1, 3),
)
# Two visits of one site are never due on one day.
several = partial(st.lists, slots, min_size=1, unique_by=lambda each: (each.place, each.due_on))


def who(found: Filled, volunteers: Sequence[Volunteer]) -> list[Volunteer]:
    known = {each.user_id: each for each in volunteers}
    return [known[user_id] for user_id in found.people]


def broken_rules(solution: Solution, volunteers: Sequence[Volunteer]) -> list[str]:
    """Every rule that a proposal breaks, in words."""
    wrong: list[str] = []
    on_day: Counter[tuple[UUID, date]] = Counter()
    in_month: Counter[tuple[UUID, tuple[int, int]]] = Counter()
    for found in solution.visits:
        down = who(found, volunteers)
        for each in down:
            on_day[each.user_id, found.day] += 1
            in_month[each.user_id, month_of(found.day)] += 1
            obstacle = each.obstacle(found.slot.place, found.day)
            wrong += [f"{obstacle} on {found.day}"] if obstacle else []
        wrong += ["too many"] * (len(down) > found.slot.places)
        wrong += ["a day that was not possible"] * (found.day not in found.slot.days)
        wrong += ["minors alone"] * (bool(down) and all(each.is_minor for each in down))
    wrong += ["twice a day" for number in on_day.values() if number > 1]
    for each in volunteers:
        for (user_id, month), number in in_month.items():
            wrong += ["above the maximum"] * (user_id == each.user_id and number > each.left_in(month))
    return wrong


@tried
@given(several(max_size=4), st.lists(people(), max_size=6))
def test_no_proposal_breaks_a_rule(wanted: list[Slot], volunteers: list[Volunteer]) -> None:
    solution = solve(wanted, volunteers)
    assert solution.is_best
    assert [each.slot.number for each in solution.visits] == [each.number for each in wanted]
    assert broken_rules(solution, volunteers) == []


@tried
@given(several(max_size=3), st.lists(people(), max_size=5))
def test_no_place_stays_open_for_somebody_with_nothing_to_do(
    wanted: list[Slot], volunteers: list[Volunteer]
) -> None:
    """Whoever got no visit could not take an open place on the day chosen without breaking a rule."""
    solution = solve(wanted, volunteers)
    busy = {user_id for found in solution.visits for user_id in found.people}
    idle = [each for each in volunteers if each.user_id not in busy]
    for found in solution.visits:
        adults = [each for each in who(found, volunteers) if not each.is_minor]
        for each in idle if found.still_open else ():
            alone = each.is_minor and not adults
            assert each.obstacle(found.slot.place, found.day) or alone


@tried
@given(st.integers(2, 6), st.integers(1, 6), st.integers(1, 2))
def test_among_people_alike_nobody_has_two_visits_more_than_another(
    number: int, visits: int, places: int
) -> None:
    """The bound of fairness, with homes at different distances and one who was there last."""
    volunteers = [
        volunteer(home=(54.5 + n / 50, -2.5), most_a_month=12, last_there={HERE.site_id: day(-9 - n)})
        for n in range(number)
    ]
    wanted = [slot(due=4 * n + 3, spread=1, places=places) for n in range(visits)]
    load = Counter({each.user_id: 0 for each in volunteers})
    for found in solve(wanted, volunteers).visits:
        load.update(found.people)
    assert max(load.values()) - min(load.values()) <= 1


def test_it_fills_pairs() -> None:
    found = solve([slot()], [volunteer(), volunteer(), volunteer()]).visits[0]
    assert len(set(found.people)) == 2
    assert found.day == day(7), "with nothing against it, the day that is due"


def test_the_one_who_has_most_in_hand_is_spared() -> None:
    busy = volunteer(taken={(2026, 5): 2})
    rested = volunteer()
    assert solve([slot(places=1)], [busy, rested]).visits[0].people == (rested.user_id,)


def test_who_lives_near_goes_where_load_is_equal() -> None:
    near, far = volunteer(home=(54.51, -2.5)), volunteer(home=(54.8, -2.5))
    assert solve([slot(places=1)], [far, near]).visits[0].people == (near.user_id,)


def test_one_who_was_there_last_goes_again_and_a_new_one_learns_the_site() -> None:
    first = volunteer(last_there={HERE.site_id: day(-20)}, home=(54.7, -2.5))
    second = volunteer(last_there={HERE.site_id: day(-20)}, home=(54.7, -2.5))
    near = volunteer(home=(54.5, -2.5))
    people = solve([slot(places=2)], [first, second, near]).visits[0].people
    assert near.user_id in people
    assert {first.user_id, second.user_id} & set(people)


def test_it_moves_the_day_to_when_people_can() -> None:
    saturday = volunteer(weekdays=frozenset({5}))
    found = solve([slot(places=1, due=7, spread=6)], [saturday]).visits[0]
    assert found.day.weekday() == 5
    assert found.people == (saturday.user_id,)


def test_a_visit_that_stands_keeps_its_people_and_gets_others() -> None:
    fixed, other = volunteer(), volunteer()
    standing = slot(places=1, spread=0, fixed=frozenset({fixed.user_id}), has_adult=True)
    assert solve([standing], [fixed, other]).visits[0].people == (other.user_id,)


def test_who_said_no_to_a_visit_is_not_proposed_for_it_again() -> None:
    no = volunteer()
    found = solve([slot(places=1, unwilling=frozenset({no.user_id}))], [no]).visits[0]
    assert found.people == ()
    assert found.still_open == 1


def test_a_minor_goes_with_an_adult_and_never_alone() -> None:
    young = volunteer(is_minor=True)
    assert solve([slot(places=2)], [young]).visits[0].people == ()
    assert len(solve([slot(places=2)], [young, volunteer()]).visits[0].people) == 2
    with_adult = slot(places=1, spread=0, fixed=frozenset({uuid4()}), has_adult=True)
    assert solve([with_adult], [young]).visits[0].people == (young.user_id,)


def test_one_site_is_not_visited_twice_on_one_day() -> None:
    pair = [slot(due=7, spread=1, places=1), slot(due=8, spread=1, places=1)]
    days = [each.day for each in solve(pair, [volunteer(), volunteer()]).visits]
    assert len(set(days)) == 2


def test_with_nobody_at_all_every_place_is_open() -> None:
    assert [each.still_open for each in solve([slot()], []).visits] == [2]
    assert solve([], [volunteer()]).visits == ()


def test_out_of_time_it_breaks_no_rule_and_says_that_it_is_not_sure() -> None:
    volunteers = [volunteer(most_a_month=2) for _each in range(9)]
    wanted = [slot(due=3 + n, spread=3, place=HERE if n % 2 else FAR) for n in range(12)]
    solution = solve(wanted, volunteers, time_limit=0.0)
    assert not solution.is_best
    assert broken_rules(solution, volunteers) == []


@pytest.mark.parametrize("rule", ["minors", "twice", "maximum"])
def test_the_check_of_rules_itself_sees_a_broken_one(rule: str) -> None:
    young = volunteer(is_minor=rule == "minors", most_a_month=1 if rule == "maximum" else 4)
    first, second = slot(places=1, spread=0), slot(place=FAR, places=1, spread=0, due=9)
    if rule == "twice":
        second = replace(second, days=first.days)
    visits = tuple(Filled(each, each.days[0], (young.user_id,)) for each in (first, second))
    assert broken_rules(Solution(visits, True, 0.0), [young])


def test_without_the_cost_of_load_fairness_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(solving, "LOAD", 0.0)
    near, far = volunteer(home=(54.5, -2.5), most_a_month=9), volunteer(home=(54.8, -2.5), most_a_month=9)
    visits = solve([slot(due=4 * n + 3, spread=1, places=1) for n in range(4)], [near, far]).visits
    assert {user_id for each in visits for user_id in each.people} == {near.user_id}


def test_untrained_comes_before_everything_else_that_keeps_somebody_away() -> None:
    nobody = volunteer(trained_on=frozenset(), weekdays=frozenset())
    assert nobody.obstacle(FAR, MONDAY) == Obstacle.UNTRAINED


def test_it_prints_nothing_of_its_own(capfd: pytest.CaptureFixture[str]) -> None:
    """The demonstration prints its sign-ins after this; a worker's log is for what matters."""
    solve([slot()], [volunteer(), volunteer("Bo")])
    assert capfd.readouterr() == ("", "")
