"""Control charts of a site's visits against limits from its baseline."""

from __future__ import annotations

import pytest

from alerts.controlling import ControlView, control_views
from portal.charts import control_state
from scoring.baseline import PROVISIONAL_BELOW
from scoring.indices import METHODS
from tests.alerts.test_advice import points
from tests.charts.making import parsed, title_of

STEADY = [50, 54, 47, 52, 49, 53, 48, 51, 50, 54, 47, 52]


def views(*sound: float, baseline: int | None = None) -> list[ControlView]:
    """The views of visits of which the first `baseline` ones (all, without it) are the baseline."""
    made = points(*sound)
    return control_views(made, made[:baseline], METHODS["bmwp"])


def test_it_draws_single_visits_and_their_weighted_mean() -> None:
    assert [each.key for each in views(*STEADY)] == ["single", "weighted"]


def test_it_finds_nothing_at_a_steady_site() -> None:
    assert [each.signals for each in views(*STEADY)] == [[], []]


def test_it_takes_limits_from_the_ranges_of_the_baseline() -> None:
    """Mean range of successive visits over 1.128; the ranges are 4, 7, 5, 3, 4, 5, 3, 1, 4, 7, 5."""
    single = views(*STEADY)[0]
    sd = 48 / 11 / 1.128
    mean = sum(STEADY) / len(STEADY)
    assert single.center == pytest.approx(mean)
    assert single.points[0].lower == pytest.approx(mean - 3 * sd, abs=0.01)
    assert single.points[0].upper == pytest.approx(mean + 3 * sd, abs=0.01)


def test_it_sees_a_sudden_fall_in_the_single_visits() -> None:
    single, _weighted = views(*STEADY, 30, baseline=12)
    assert [row.value for row in single.signals] == [30]
    assert single.signals[0].meaning == "below the lower limit"


def test_it_sees_a_slow_decline_only_in_the_weighted_mean() -> None:
    single, weighted = views(*STEADY, *[45] * 8, baseline=12)
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
    assert len(views(*STEADY[:PROVISIONAL_BELOW])) == 2


def test_it_says_how_long_each_chart_runs_before_it_signals() -> None:
    """Three-sigma limits: 370 visits in control, 44 after a shift of one sd (Montgomery, run lengths)."""
    single, weighted = views(*STEADY)
    assert "one visit in about 370 lies beyond" in single.explains
    assert "about 44 visits" in single.explains
    assert "about 10 visits" in weighted.explains


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
