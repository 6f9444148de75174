"""Trigger advice: its figures against chances known in closed form, its cautions, its refusals."""

import math
from dataclasses import asdict
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta

from scoring.advice import Advice, AdviceError, LevelAdvice, advise_trigger
from scoring.advice.judging import cut
from scoring.baseline import chance_of_false_alarm

START = date(2022, 1, 15)
TWENTY = [float(score) for score in range(41, 61)]
integers = st.lists(st.integers(0, 150), min_size=1, max_size=40)


def visits(values: list[float]) -> list[tuple[date, float]]:
    """One visit each 40 days, so that no month of one year comes twice."""
    return [(START + timedelta(days=40 * at), value) for at, value in enumerate(values)]


def advise(
    values: list[float],
    *,
    index: str = "bmwp",
    visits_per_year: float = 12,
    level: float | None = None,
    false_alarms_per_year: float | None = None,
    falls: list[float] | None = None,
    seed: int = 1,
) -> Advice:
    return advise_trigger(
        visits(values),
        index=index,
        visits_per_year=visits_per_year,
        level=level,
        false_alarms_per_year=false_alarms_per_year,
        falls=falls,
        seed=seed,
    )


def asked(values: list[float], level: float, falls: list[float] | None = None) -> LevelAdvice:
    found = advise(values, level=level, falls=falls).asked
    assert found is not None
    return found


def suggested(values: list[float], wanted: float, visits_per_year: float = 12) -> float | None:
    suggestion = advise(values, false_alarms_per_year=wanted, visits_per_year=visits_per_year).suggestion
    assert suggestion is not None
    return suggestion.level.level if suggestion.level else None


def shuffled(values: list[float], seed: int = 1) -> list[float]:
    return [float(value) for value in np.random.default_rng(seed).permutation(values)]


def test_it_expects_the_lowest_score_once_in_n_plus_one_visits() -> None:
    found = asked(TWENTY, 41)
    assert found.below == 0
    assert found.is_beyond
    assert found.false_alarms_per_year.value == pytest.approx(12 / 21)


def test_it_counts_the_scores_strictly_below() -> None:
    assert asked(TWENTY, 43).below == 2
    assert asked(TWENTY, 43).false_alarms_per_year.value == pytest.approx(3 / 21 * 12)
    assert asked(TWENTY, 42.5).below == 2


def test_it_gives_the_chance_of_any_false_alarm_in_a_year() -> None:
    found = asked(TWENTY, 43)
    assert found.chance_in_a_year.value == pytest.approx(chance_of_false_alarm(3 / 21, 12))


@pytest.mark.parametrize("level", [41, 43, 50])
def test_it_gives_the_interval_of_the_beta_law(level: float) -> None:
    # The chance to lie below the first j of n + 1 gaps follows Beta(j, n + 1 - j).
    found = asked(TWENTY, level)
    low, high = (float(beta.ppf(end, found.below + 1, 20 - found.below)) for end in (0.025, 0.975))
    assert found.false_alarms_per_year.low == pytest.approx(12 * low, rel=0.12)
    assert found.false_alarms_per_year.high == pytest.approx(12 * high, rel=0.04)


def test_it_is_not_sure_of_a_level_that_nothing_lies_below() -> None:
    found = asked(TWENTY, 30)
    assert found.false_alarms_per_year.low < 0.05
    assert found.false_alarms_per_year.high > 1.5


def test_it_catches_a_fall_where_the_score_lay_below_level_and_fall() -> None:
    part, whole = asked(TWENTY, 45, falls=[10, 40]).catches
    # 41 to 54 lie below 55; 40 points down everything does, but one gap in 21 is never promised.
    assert part.next_visit.value == pytest.approx(14 / 21)
    assert part.within_two.value == pytest.approx(1 - (7 / 21) ** 2)
    assert whole.next_visit.value == pytest.approx(20 / 21)
    assert whole.next_visit.high < 1


def test_it_promises_no_catch_of_a_fall_that_reaches_nothing() -> None:
    catch = asked(TWENTY, 20, falls=[5]).catches[0]
    assert (catch.next_visit.value, catch.next_visit.high) == (0, 0)


@given(integers, st.integers(0, 150))
def test_it_holds_every_figure_within_its_interval(scores: list[int], level: int) -> None:
    found = asked(list(map(float, scores)), level)
    figures = [found.false_alarms_per_year, found.chance_in_a_year]
    for catch in found.catches:
        figures += [catch.next_visit, catch.within_two]
        assert catch.within_two.value >= catch.next_visit.value
    assert all(figure.low <= figure.value <= figure.high for figure in figures)


@given(integers)
def test_it_fires_more_often_and_catches_more_at_a_higher_level(scores: list[int]) -> None:
    levels = advise(list(map(float, scores))).levels
    alarms = [level.false_alarms_per_year.value for level in levels]
    assert alarms == sorted(alarms)
    for catches in zip(*(level.catches for level in levels), strict=True):
        chances = [catch.next_visit.value for catch in catches]
        assert chances == sorted(chances)


@given(integers, st.floats(0.05, 11))
def test_it_suggests_the_highest_score_within_the_wish(scores: list[int], wanted: float) -> None:
    values = list(map(float, scores))
    level = suggested(values, wanted)
    if level is None:
        assert len(values) < 8 or wanted < 12 / (len(values) + 1)
        return
    assert asked(values, level).false_alarms_per_year.value <= wanted + 1e-9
    higher = [value for value in values if value > level]
    assert all(asked(values, value).false_alarms_per_year.value > wanted for value in set(higher))


def test_it_suggests_by_rank() -> None:
    assert suggested(TWENTY, 12 / 21) == 41
    assert suggested(TWENTY, 24 / 21) == 42
    assert suggested(TWENTY, 1) == 41
    assert suggested(TWENTY, 0.5) is None


def test_it_suggests_among_ties_what_fires_strictly_below() -> None:
    tied = [40.0] * 5 + [50.0] * 15
    assert suggested(tied, 12 / 21) == 40
    assert asked(tied, 50).below == 5
    assert suggested(tied, 12 * 6 / 21) == 50
    assert suggested(tied, 12 * 5 / 21) == 40


def test_it_says_how_many_visits_a_rare_alarm_takes() -> None:
    found = advise(TWENTY, false_alarms_per_year=0.5)
    assert found.suggestion is not None
    assert found.suggestion.visits_needed == 23
    assert found.rarest_per_year == pytest.approx(12 / 21)
    assert "20 visits cannot tell a level with only 0.5 false alarms a year" in found.cautions[0]
    assert "the fewest they can tell is 0.571. It takes 23 visits." in found.cautions[0]


def test_it_can_tell_with_just_enough_visits() -> None:
    enough, short = shuffled([float(at) for at in range(23)]), shuffled([float(at) for at in range(22)])
    assert suggested(enough, 0.5) == 0
    assert suggested(short, 0.5) is None
    assert advise(enough, false_alarms_per_year=0.5).cautions == ()


def test_it_adds_a_second_opinion_by_the_bell_curve() -> None:
    # 20 visits, 5 % per visit: mean - 1.772 sd (one-sided prediction limit).
    found = advise(TWENTY, false_alarms_per_year=0.6).suggestion
    assert found is not None
    assert found.normal_level == pytest.approx(50.5 - 1.772 * float(np.std(TWENTY, ddof=1)), abs=0.01)


@pytest.mark.parametrize(("values", "wanted"), [([50.0] * 12, 0.6), (TWENTY, 7), (TWENTY[:7], 0.6)])
def test_it_has_no_second_opinion_without_ground(values: list[float], wanted: float) -> None:
    found = advise(values, false_alarms_per_year=wanted).suggestion
    assert found is not None
    assert found.normal_level is None


def test_it_suggests_no_level_from_a_provisional_baseline() -> None:
    found = advise(TWENTY[:7], false_alarms_per_year=6)
    assert found.suggestion is not None
    assert found.suggestion.level is None
    assert found.cautions[0] == (
        "Too few visits to suggest a level: there are 7, and a baseline of fewer than 8 is provisional."
    )
    # The table of levels is shown all the same: its intervals tell the rest.
    assert found.levels


def test_it_suggests_a_level_from_eight_visits_on() -> None:
    assert suggested(shuffled(TWENTY[:8]), 6) == 44
    assert advise(shuffled(TWENTY[:8]), false_alarms_per_year=6).cautions == ()


def test_it_suggests_nothing_without_a_wish() -> None:
    assert advise(TWENTY).suggestion is None
    assert advise(TWENTY).asked is None


def test_it_warns_of_scores_that_are_all_alike() -> None:
    assert any("All scores are alike" in caution for caution in advise([50.0] * 12).cautions)
    assert not any("All scores are alike" in caution for caution in advise([50.0]).cautions)


def test_it_warns_of_a_baseline_that_falls_itself() -> None:
    falling = [(date(2012 + year, month, 1), 80.0 - 3 * year) for year in range(10) for month in (4, 7, 10)]
    found = advise_trigger(falling, index="bmwp", visits_per_year=3)
    assert any(caution.startswith("The baseline itself is falling") for caution in found.cautions)
    steady = [(day, 60 + 7 * math.sin(31 * at)) for at, (day, _) in enumerate(falling)]
    assert advise_trigger(steady, index="bmwp", visits_per_year=3).cautions == ()


def test_it_shows_the_distribution() -> None:
    found = advise([50.0, 44.0, 50.0, 61.0])
    assert dict(found.distribution) == {44: 1, 50: 2, 61: 1}
    assert (found.baseline.n, found.baseline.median) == (4, 50)


def test_it_judges_the_scores_of_the_lower_half_and_the_level_asked_for() -> None:
    levels = [level.level for level in advise(TWENTY[:10], level=48.5).levels]
    assert levels == [41, 42, 43, 44, 45, 48.5]


def test_it_judges_levels_as_they_are_printed_and_never_above_the_score_they_stand_for() -> None:
    scores = [6.857142857, 6.8549, 4.35, *[7.0] * 9]
    found = advise(scores, index="aspt", false_alarms_per_year=2.8)
    assert [level.level for level in found.levels] == [4.35, 6.85, 7]
    assert [level.below for level in found.levels] == [0, 1, 3]
    assert found.suggestion is not None
    assert found.suggestion.level is not None
    assert found.suggestion.level.level == 6.85


@pytest.mark.parametrize(
    ("level", "decimals", "printed"), [(4.35, 2, 4.35), (6.8571, 2, 6.85), (-1.25, 1, -1.3), (48.0, 0, 48)]
)
def test_it_cuts_a_level_down_to_printed_digits(level: float, decimals: int, printed: float) -> None:
    assert cut(level, decimals) == printed


def test_it_judges_no_more_than_a_dozen_levels() -> None:
    levels = advise([float(score) for score in range(200)]).levels
    assert len(levels) <= 12
    assert levels[0].level == 0


def test_it_measures_usual_falls_by_the_median_as_the_index_prints() -> None:
    falls = [catch.fall for catch in asked([50.0, 57, 58, 70], 50).catches]
    assert falls == [14, 29]
    mean = advise([5.0, 5.5, 6.1], index="aspt").levels[0]
    assert [catch.fall for catch in mean.catches] == [1.38, 2.75]


def test_it_measures_usual_falls_by_the_spread_where_the_median_is_negative() -> None:
    found = advise([-8.0, -2.0, 4.0, -4.0], index="bankside").levels[0]
    assert [catch.fall for catch in found.catches] == [3, 6]


def test_it_has_no_usual_fall_of_a_dead_stream() -> None:
    assert advise([0.0, 0.0, 0.0]).levels[0].catches == ()


def test_it_takes_the_visits_of_the_season_only() -> None:
    scores = [
        (date(2020 + year, month, 1), float(score)) for year in range(5) for month, score in ((5, 60), (11, 40))
    ]
    spring = advise_trigger(scores, index="bmwp", visits_per_year=1, season=[4, 5])
    assert (spring.baseline.n, spring.baseline.lowest) == (5, 60)
    assert spring.months == (4, 5)
    with pytest.raises(AdviceError, match="no score"):
        advise_trigger(scores, index="bmwp", visits_per_year=1, season=[1])


def test_it_gives_the_same_figures_for_the_same_seed() -> None:
    assert asdict(advise(TWENTY, level=45)) == asdict(advise(TWENTY, level=45))
    other = advise(TWENTY, level=45, seed=2)
    assert other.levels != advise(TWENTY, level=45).levels
    assert other.levels[0].false_alarms_per_year.value == advise(TWENTY).levels[0].false_alarms_per_year.value


@given(integers)
def test_it_cares_not_for_the_order_of_visits(scores: list[int]) -> None:
    dated = visits(list(map(float, scores)))
    forth, back = (advise_trigger(one, index="bmwp", visits_per_year=6) for one in (dated, dated[::-1]))
    assert forth == back


def test_it_keeps_its_promise_on_new_visits() -> None:
    """Drawn baselines and one more visit each: the suggested level fires as rarely as wanted."""
    rng = np.random.default_rng(5)
    fired, wanted = 0, 0.1
    for _ in range(400):
        *baseline, following = rng.poisson(60, 20).astype(float).tolist()
        level = suggested(baseline, wanted, visits_per_year=1)
        fired += level is not None and following < level
    # 40 expected at most; ties keep it below. Four sds above would be 64.
    assert 8 <= fired <= 60


@pytest.mark.parametrize("index", ["fbi"])
def test_it_refuses_an_index_that_is_worse_when_higher(index: str) -> None:
    with pytest.raises(AdviceError, match="higher is worse"):
        advise(TWENTY, index=index)


def test_it_refuses_an_index_that_it_does_not_know() -> None:
    with pytest.raises(AdviceError, match="no index 'quux'"):
        advise(TWENTY, index="quux")


def test_it_refuses_to_advise_from_nothing() -> None:
    with pytest.raises(AdviceError, match="no score"):
        advise([])


@pytest.mark.parametrize("score", [math.nan, math.inf])
def test_it_refuses_a_score_that_is_no_number(score: float) -> None:
    with pytest.raises(AdviceError, match="finite"):
        advise([50.0, score])


@pytest.mark.parametrize("visits_per_year", [0, -1, math.nan, math.inf])
def test_it_refuses_visits_per_year_that_are_none(visits_per_year: float) -> None:
    with pytest.raises(AdviceError, match="visits per year"):
        advise(TWENTY, visits_per_year=visits_per_year)


@pytest.mark.parametrize("wanted", [0, -0.5, 12, 13, math.nan])
def test_it_refuses_a_wish_out_of_reach(wanted: float) -> None:
    with pytest.raises(AdviceError, match="false alarms per year"):
        advise(TWENTY, false_alarms_per_year=wanted)


def test_it_refuses_a_level_that_is_no_number() -> None:
    with pytest.raises(AdviceError, match="level"):
        advise(TWENTY, level=math.nan)


@pytest.mark.parametrize("fall", [0, -3, math.nan, math.inf])
def test_it_refuses_a_fall_that_is_none(fall: float) -> None:
    with pytest.raises(AdviceError, match="size of a fall"):
        advise(TWENTY, falls=[fall])


@pytest.mark.parametrize("season", [[], [0], [13], [5, 14]])
def test_it_refuses_a_season_of_no_months(season: list[int]) -> None:
    with pytest.raises(AdviceError, match="months from 1 to 12"):
        advise_trigger(visits(TWENTY), index="bmwp", visits_per_year=12, season=season)


def test_it_refuses_a_negative_seed() -> None:
    with pytest.raises(AdviceError, match="seed"):
        advise(TWENTY, seed=-1)
