"""Control charts of a site's visits against limits from its baseline."""

from __future__ import annotations

import pytest

from alerts.charts.control import ControlView, control_views
from portal.charts import control_state
from scoring.baseline import PROVISIONAL_BELOW
from scoring.indices import METHODS
from tests.alerts.advice.test_levels import points
from tests.charts.making import parsed, title_of

STEADY = [50, 54, 47, 52, 49, 53, 48, 51, 50, 54, 47, 52]


def views(*sound: float, baseline: int | None = None) -> list[ControlView]:
    """The views of visits of which the first `baseline` ones (all, without it) are the baseline."""
    made = points(*sound)
    return control_views(made, made[:baseline], METHODS["bmwp"])


def test_it_draws_single_visits_their_weighted_mean_and_the_sum_of_falls() -> None:
    assert [each.key for each in views(*STEADY)] == ["single", "weighted", "falls"]


def test_it_folds_only_the_third_chart_away() -> None:
    assert [each.is_extra for each in views(*STEADY)] == [False, False, True]


def test_it_finds_nothing_at_a_steady_site() -> None:
    assert [each.signals for each in views(*STEADY)] == [[], [], []]


def test_it_takes_limits_from_the_ranges_of_the_baseline() -> None:
    """Mean range of successive visits over 1.128; the ranges are 4, 7, 5, 3, 4, 5, 3, 1, 4, 7, 5."""
    single = views(*STEADY)[0]
    sd = 48 / 11 / 1.128
    mean = sum(STEADY) / len(STEADY)
    assert single.center == pytest.approx(mean)
    assert single.points[0].lower == pytest.approx(mean - 3 * sd, abs=0.01)
    assert single.points[0].upper == pytest.approx(mean + 3 * sd, abs=0.01)


def test_it_sees_a_sudden_fall_in_the_single_visits() -> None:
    single, _weighted, _falls = views(*STEADY, 30, baseline=12)
    assert [row.value for row in single.signals] == [30]
    assert single.signals[0].meaning == "below the lower limit"


def test_it_sees_a_slow_decline_only_in_the_weighted_mean() -> None:
    single, weighted, _falls = views(*STEADY, *[45] * 8, baseline=12)
    assert single.signals == []
    assert weighted.signals != []
    assert control_state(weighted.points[-1]) == "under"


def test_it_keeps_a_known_fall_out_of_the_limits_and_in_the_chart() -> None:
    with_fall, without = views(*STEADY, 10, baseline=12), views(*STEADY)
    assert with_fall[0].points[0].lower == without[0].points[0].lower
    assert len(with_fall[0].points) == len(without[0].points) + 1


@pytest.mark.parametrize("scores", [[], STEADY[: PROVISIONAL_BELOW - 1], [50] * 12])
def test_it_draws_nothing_where_the_baseline_gives_no_limits(scores: list[float]) -> None:
    assert views(*scores) == []


def test_it_draws_from_the_first_sufficient_baseline_on() -> None:
    assert len(views(*STEADY[:PROVISIONAL_BELOW])) == 3


def test_it_says_how_long_each_chart_runs_before_it_signals() -> None:
    """Three-sigma limits: 370 visits in control, 44 after a shift of one sd (Montgomery, run lengths)."""
    single, weighted, falls = views(*STEADY)
    assert "one visit in about 370 lies beyond" in single.explains
    assert "about 44 visits" in single.explains
    assert "about 10 visits" in weighted.explains
    # One side, k = 0.5 and h = 4: 335 and 8.38 visits (Montgomery, from Page's integral equation).
    assert "once in about 335 visits" in falls.explains
    assert "about 8 visits" in falls.explains


@pytest.mark.parametrize(
    ("place", "source"), [(0, "Shewhart 1931"), (1, "Lucas and Saccucci 1990"), (2, "Page 1954, Biometrika 41")]
)
def test_it_gives_the_formula_and_its_source_with_each_chart(place: int, source: str) -> None:
    assert source in views(*STEADY)[place].formula


class TestSumOfFalls:
    """Worked by hand: usual level 50.58, s = 48 / 11 / 1.128 = 3.87, half of it 1.93, limit 4 s = 15.47."""

    LEVEL, SD = sum(STEADY) / len(STEADY), 48 / 11 / 1.128

    def falls(self, *after: float) -> ControlView:
        return views(*STEADY, *after, baseline=12)[2]

    def test_it_takes_the_sum_of_falls_from_the_usual_level(self) -> None:
        first, second, third = self.falls().points[:3]
        # 50 and 54 lie less than half of s below the usual level, 47 more.
        assert (first.value, second.value) == pytest.approx((self.LEVEL, self.LEVEL))
        assert third.value == pytest.approx(47 + self.SD / 2, abs=0.02)

    def test_it_adds_one_fall_to_the_next(self) -> None:
        start, once, twice = (point.value for point in self.falls(45, 45).points[-3:])
        step = self.LEVEL - 45 - self.SD / 2
        assert (start - once, once - twice) == pytest.approx((step, step), abs=0.02)

    def test_it_is_lifted_by_a_better_visit_and_never_above_the_usual_level(self) -> None:
        *_earlier, fallen, lifted = (point.value for point in self.falls(40, 90).points)
        assert fallen < self.LEVEL
        assert lifted == pytest.approx(self.LEVEL)

    def test_it_limits_the_sum_at_four_standard_deviations(self) -> None:
        point = self.falls().points[0]
        assert point.lower == pytest.approx(self.LEVEL - 4 * self.SD, abs=0.02)
        assert point.upper == pytest.approx(self.LEVEL)

    def test_it_sees_a_small_lasting_fall_that_single_visits_miss(self) -> None:
        single, _weighted, falls = views(*STEADY, *[46] * 8, baseline=12)
        assert single.signals == []
        assert falls.signals[0].meaning == "below the lower limit"

    def test_it_never_signals_a_rise(self) -> None:
        assert self.falls(*[70] * 6).signals == []

    def test_it_is_drawn_with_its_name(self) -> None:
        assert title_of(parsed(self.falls().narrow)).startswith("Sum of falls (CUSUM chart): 12 visits")


def test_it_gives_the_figures_of_the_drawing_as_rows() -> None:
    single = views(*STEADY, 30, baseline=12)[0]
    assert [row.value for row in single.rows] == [*STEADY, 30]
    assert single.rows[0].when == "10 Jan 2024"
    assert single.rows[0].meaning == "within the limits"


def test_it_draws_for_wide_and_narrow_screens() -> None:
    single = views(*STEADY)[0]
    assert parsed(single.wide).get("width") == "720"
    assert parsed(single.narrow).get("width") == "340"
    assert title_of(parsed(single.wide)).startswith("Single visits (Shewhart chart): 12 visits")
