"""Whether a site changed: the comparisons made, and how they are put in words."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from scoring.comparison import Comparison, compare_impact, compare_pairs, compare_periods
from scoring.indices import METHODS
from scoring.trend import Trend, by_month, seasonal_kendall
from surveys.comparing import words
from surveys.comparing.changes import (
    Pairing,
    SiteChange,
    change_of,
    indices_scored,
    pair_visits,
    season_of,
    split,
)
from surveys.models import Site, VisitScore
from surveys.models.visits import Status
from tests.alerts.conftest import approved_visit
from tests.conftest import Cast
from tests.factories import SiteFactory, VisitFactory

BMWP, FBI = METHODS["bmwp"], METHODS["fbi"]
FIRST = date(2021, 1, 10)


def monthly(number: int) -> date:
    """The tenth of the month so many months after the first."""
    return date(FIRST.year + number // 12, number % 12 + 1, 10)


def add_scores(cast: Cast, site: Site, scores: dict[date, float]) -> None:
    for day, score in scores.items():
        approved_visit(site, cast.coordinator, cast.other_volunteer, day, score)


def falling(months: int = 36) -> dict[date, float]:
    """Half a point a month down, with a hill in every summer."""
    return {monthly(n): 80 - 0.5 * n + (6 if n % 12 in (5, 6, 7) else 0) for n in range(months)}


def change(**fields: Any) -> SiteChange:
    usual: dict[str, Any] = {
        "method": BMWP,
        "scores": [(FIRST, 50.0)],
        "trend": None,
        "season": "month",
        "since": None,
        "before": 0,
        "after": 0,
        "periods": None,
        "pairings": [],
    }
    return SiteChange(**(usual | fields))


def trend(**fields: Any) -> Trend:
    usual: dict[str, Any] = {
        "values": 36, "seasons": 12, "pairs": 36, "s": -30, "tau": -0.83, "z": -3.1, "p": 0.002,
        "slope": -6.0, "low": -7.5, "high": -4.5,
    }  # fmt: skip
    return Trend(**(usual | fields))


@pytest.mark.django_db
def test_it_finds_the_trend_that_the_test_finds(cast: Cast) -> None:
    add_scores(cast, cast.site, falling())
    found = change_of(cast.site, "bmwp", None)
    assert found.trend == seasonal_kendall(list(falling().items()), season=by_month)
    assert found.trend is not None
    assert (found.trend.direction, found.trend.slope) == ("falling", -6.0)
    assert words.trend_lines(found)[0] == "Scores are falling."


@pytest.mark.django_db
def test_it_counts_visits_below_a_trigger_and_no_others_that_cannot_be_compared(cast: Cast) -> None:
    add_scores(cast, cast.site, {FIRST: 50, FIRST + timedelta(days=30): 4})
    waiting = approved_visit(cast.site, cast.coordinator, cast.volunteer, FIRST + timedelta(days=60), 40)
    waiting.status = Status.WAITING
    waiting.save()
    bare = VisitFactory(
        site=cast.site,
        visited_on=FIRST + timedelta(days=90),
        status=Status.APPROVED,
        reviewed_by=cast.coordinator,
    )
    VisitScore.objects.create(visit=bare, index="bmwp", version="1980-table-1", value=3)
    assert [score for _day, score in change_of(cast.site, "bmwp", None).scores] == [50, 4]


@pytest.mark.django_db
def test_it_compares_before_with_after_the_day(cast: Cast) -> None:
    scores = {monthly(n): 60.0 + n % 5 if n < 12 else 40.0 + n % 5 for n in range(24)}
    add_scores(cast, cast.site, scores)
    found = change_of(cast.site, "bmwp", monthly(12))
    values = list(scores.values())
    assert found.periods == compare_periods(values[:12], values[12:])
    assert (found.before, found.after) == (12, 12)
    (line,) = words.period_lines(found)
    assert line.startswith("Visits from 10 January 2022 on: lower than those before it, by −20.0 points")


@pytest.mark.django_db
def test_it_pairs_the_next_sites_by_day(cast: Cast) -> None:
    below = SiteFactory(group=cast.group, code="AB2", name="Mill tail")
    cast.site.downstream = below
    cast.site.save()
    upper = {monthly(n): 60.0 + n % 7 for n in range(12)}
    lower = {day: score - 8 - n % 3 for n, (day, score) in enumerate(upper.items())}
    add_scores(cast, cast.site, upper | {FIRST + timedelta(days=12): 10})
    add_scores(cast, below, lower)
    pairs = [(upper[day], lower[day]) for day in upper]
    for site in (cast.site, below):
        (pairing,) = change_of(site, "bmwp", monthly(6)).pairings
        assert (pairing.first, pairing.second, pairing.pairs) == (cast.site, below, 12)
        assert pairing.comparison == compare_pairs(pairs)
        assert pairing.impact == compare_impact(pairs[:6], pairs[6:])


@pytest.mark.django_db
def test_it_takes_the_median_of_two_visits_on_a_day(cast: Cast) -> None:
    below = SiteFactory(group=cast.group, code="AB2", name="Mill tail", downstream=None)
    cast.site.downstream = below
    cast.site.save()
    add_scores(cast, cast.site, {FIRST: 50})
    add_scores(cast, cast.site, {FIRST: 60})
    add_scores(cast, below, {FIRST: 45})
    (pairing,) = change_of(cast.site, "bmwp", None).pairings
    assert pairing.comparison is not None
    assert (pairing.pairs, pairing.comparison.difference) == (1, -10)


@pytest.mark.django_db
def test_it_has_no_pairing_without_neighbours_and_no_impact_without_both_sides(cast: Cast) -> None:
    assert change_of(cast.site, "bmwp", None).pairings == []
    below = SiteFactory(group=cast.group, code="AB2", name="Mill tail")
    cast.site.downstream = below
    cast.site.save()
    for site in (cast.site, below):
        add_scores(cast, site, {monthly(n): 50 for n in range(3)})
    (pairing,) = change_of(cast.site, "bmwp", monthly(20)).pairings
    assert pairing.impact is None
    assert pairing.comparison is not None


@pytest.mark.django_db
def test_it_offers_the_indices_that_the_site_has(cast: Cast) -> None:
    assert indices_scored(cast.site) == []
    add_scores(cast, cast.site, {FIRST: 50})
    assert [method.key for method in indices_scored(cast.site)] == ["bmwp"]


@pytest.mark.parametrize(
    ("days", "season"), [(14, "month"), (45, "month"), (46, "quarter"), (120, "quarter"), (180, "year")]
)
def test_it_takes_seasons_as_long_as_the_time_between_visits(days: int, season: str) -> None:
    assert season_of(Site(visit_interval_days=days))[0] == season


def test_it_counts_the_day_itself_as_after() -> None:
    scores = [(FIRST, 1.0), (FIRST + timedelta(days=1), 2.0)]
    assert split(scores, FIRST + timedelta(days=1)) == ([1.0], [2.0])
    assert split(scores, None) == ([], [])


def test_it_tells_a_clear_trend_with_its_meaning() -> None:
    lines = words.trend_lines(change(trend=trend()))
    assert lines == [
        "Scores are falling.",
        "The change is −6.0 points a year (95 % interval: −7.5 to −4.5). Chance alone would give such a "
        "trend in about 0.2 of 100 cases.",
        "Higher is better here, so by this index the water got worse.",
    ]


def test_it_reads_an_index_that_rises_with_pollution_the_other_way_round() -> None:
    assert words.trend_lines(change(trend=trend(), method=FBI))[-1].endswith("the water improved.")
    rising = trend(s=30, slope=6.0, low=4.5, high=7.5)
    assert words.trend_lines(change(trend=rising, method=FBI))[-1].endswith("the water got worse.")
    assert words.trend_lines(change(trend=rising))[-1].endswith("the water improved.")


def test_it_calls_what_chance_may_give_no_trend() -> None:
    (line,) = words.trend_lines(change(trend=trend(p=0.4, low=-8.0, high=1.0)))
    assert line.startswith("No trend shows: what there is, chance alone would give in about 40 of 100 cases.")
    assert "anything from −8.0 to +1.0" in line


def test_it_says_when_there_is_too_little_for_a_trend() -> None:
    assert words.trend_lines(change())[0].startswith("There is no approved visit")
    once = seasonal_kendall([(FIRST, 50.0), (FIRST + timedelta(days=40), 51.0)])
    assert words.trend_lines(change(trend=once)) == ["No trend can be told yet.", once.why_none]
    assert "only 6 values" in words.trend_lines(change(trend=trend(values=6)))[-1]
    assert words.trend_facts(change(trend=once)) == []


def test_it_gives_the_numbers_of_the_test() -> None:
    facts = dict(words.trend_facts(change(trend=trend())))
    assert facts["S (rises less falls)"] == "-30"
    assert facts["p, two-sided"] == "0.0020"
    assert facts["its interval (95 %)"] == "−7.5 to −4.5"
    assert facts["Compared"] == "months with the same months of other years"


def test_it_says_which_side_of_the_day_is_empty() -> None:
    (line,) = words.period_lines(change(since=FIRST, before=0, after=7))
    assert "Visits before 10 January 2021: 0; from that day on: 7." in line
    assert words.period_lines(change()) == []


def test_it_concludes_nothing_from_too_few_visits() -> None:
    few = compare_periods([50, 51], [40])
    (line,) = words.period_lines(change(since=FIRST, before=2, after=1, periods=few))
    assert "nothing can be concluded" in line
    assert [label for label, _figure in words.comparison_facts(few, BMWP)] == [
        "Visits",
        "Hodges-Lehmann difference",
    ]


def test_it_says_that_no_difference_shows() -> None:
    same = Comparison(20, 20, 0.5, -3.0, 4.0, 0.95)
    (line,) = words.period_lines(change(since=FIRST, before=20, after=20, periods=same))
    assert "no difference to those before it shows" in line
    assert "from −3.0 to +4.0 fits" in line


def test_it_tells_downstream_against_upstream_and_the_change_of_the_gap() -> None:
    upper, lower = Site(code="AB1", name="Top"), Site(code="AB2", name="Mill")
    higher = Comparison(9, 9, 4.0, 1.0, 6.0, 0.96)
    lines = words.pairing_lines(
        Pairing(upper, lower, 9, higher, Comparison(5, 4, -3.0, -5.0, -1.0, 0.95)), BMWP
    )
    assert lines[0] == "AB2 Mill: higher than AB1 Top, by +4.0 points (interval: +1.0 to +6.0)."
    assert lines[1].startswith(
        "Since the day you chose, the lower site set against the upper one: lower than before"
    )
    assert "within 7 days of each other" in words.pairing_lines(Pairing(upper, lower, 0, None, None), BMWP)[0]


def test_it_gives_the_confidence_that_an_interval_reaches() -> None:
    facts = dict(words.comparison_facts(Comparison(9, 9, 4.0, 1.0, 6.0, 0.9609), BMWP))
    assert facts["its interval, with a confidence of 96.1 %"] == "+1.0 to +6.0"
    assert words.comparison_facts(None, BMWP) == []


@pytest.mark.parametrize(
    ("p", "text"),
    [
        (0.0004, "fewer than 1 of 1,000 cases"),
        (0.004, "about 0.4 of 100 cases"),
        (0.3, "about 30 of 100 cases"),
    ],
)
def test_it_says_chances_as_cases(p: float, text: str) -> None:
    assert words.chance_words(p) == text


@pytest.mark.parametrize(("value", "text"), [(-0.04, "0.0"), (0.04, "0.0"), (1.25, "+1.2"), (-3, "−3.0")])
def test_it_writes_no_minus_nought(value: float, text: str) -> None:
    assert words.signed(value, BMWP) == text


def test_it_pairs_each_visit_once_and_with_the_closest() -> None:
    def day(number: int) -> date:
        return FIRST + timedelta(days=number)

    upper = [(day(0), 1.0), (day(6), 2.0), (day(60), 3.0)]
    lower = [(day(5), 10.0), (day(68), 30.0), (day(7), 20.0)]
    assert pair_visits(upper, lower) == [(1.0, 20.0), (2.0, 10.0)]
    assert pair_visits(upper, [(day(67), 30.0)]) == [(3.0, 30.0)]
    assert pair_visits(upper, [(day(68), 30.0)]) == []
