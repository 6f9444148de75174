"""What a level would mean at a site: the baseline asked, the figures told in words, the record kept."""

from __future__ import annotations

import re
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest

from alerts.advice import words
from alerts.advice.levels import Question, SiteAdvice, advise, far_below, record_advice, visits_per_year
from scoring.advice import AdviceError, Catch, Estimate, LevelAdvice, advise_trigger
from surveys.models import Site
from surveys.queries import HistoryPoint

SCORES = [44, 58, 47, 61, 52, 55, 49, 63, 51, 57, 46, 60, 53, 56, 48, 62, 50, 54, 45, 59]


def points(*scores: float, first: date = date(2024, 1, 10), days: int = 30) -> list[HistoryPoint]:
    """One baseline visit every 30 days."""
    return [
        HistoryPoint(uuid4(), first + timedelta(days=days * n), score, None, None, "approved", True)
        for n, score in enumerate(scores)
    ]


def site(**fields: Any) -> Site:
    return Site(**{"visit_interval_days": 30} | fields)


def told(question: Question | None = None, *scores: float) -> SiteAdvice:
    return advise(site(), question or Question("bmwp"), points(*(scores or SCORES)))


def level(told_: SiteAdvice) -> LevelAdvice:
    assert told_.candidate is not None
    return told_.candidate


def estimate(value: float, low: float = 0.1, high: float = 0.9) -> Estimate:
    return Estimate(value, low, high)


def test_it_gives_the_figures_of_the_advice_command() -> None:
    """The same scores through scoring.advice alone."""
    dated = [(each.when, float(each.value or 0)) for each in points(*SCORES)]
    alone = advise_trigger(dated, index="bmwp", visits_per_year=12, level=47, false_alarms_per_year=0.5)
    assert told(Question("bmwp", level=47)).advice == alone


def test_it_tries_the_suggested_level_when_none_is_asked_for() -> None:
    """0.5 a year at 12 visits is 1 in 24, and the lowest of 20 fires at 1 in 21: too few; 23 visits tell it."""
    few = told()
    assert few.candidate is None
    assert few.advice is not None
    assert few.advice.suggestion is not None
    assert few.advice.suggestion.visits_needed == 23
    enough = told(None, *SCORES, 64, 65, 66)
    assert level(enough).level == 44


def test_it_cuts_a_suggested_level_to_printed_digits_and_never_up() -> None:
    scores = [6.857142857, *(6.9 + n / 30 for n in range(30))]
    tried = advise(site(), Question("aspt"), points(*scores))
    assert level(tried).level == 6.85
    assert level(tried).below == 0


def test_it_keeps_a_level_that_was_asked_for_as_it_is() -> None:
    assert level(told(Question("bmwp", level=47.25))).level == 47.25


def test_it_says_nothing_without_a_baseline() -> None:
    nothing = advise(site(), Question("bmwp", level=30), [])
    assert (nothing.advice, nothing.candidate, nothing.values) == (None, None, [])
    assert words.suggestion_words(nothing) == ""
    assert words.level_rows(nothing) == []


def test_it_passes_on_why_a_question_has_no_answer() -> None:
    with pytest.raises(AdviceError, match="higher is worse"):
        told(Question("fbi"))


@pytest.mark.parametrize(
    ("days", "season", "visits"),
    [(30, "", 12), (14, "", 26), (366, "", 1), (91, "spring", 1), (30, "summer", 3), (182, "winter", 0.5)],
)
def test_it_counts_the_visits_that_the_plan_makes_in_a_year(days: int, season: str, visits: float) -> None:
    assert visits_per_year(site(visit_interval_days=days), season) == visits


def test_it_looks_at_one_season_alone() -> None:
    winter = told(Question("bmwp", level=47, season="winter"))
    assert winter.advice is not None
    months = {each.when.month for each in points(*SCORES)} & {12, 1, 2}
    assert winter.advice.baseline.n == sum(each.when.month in months for each in points(*SCORES)) < len(SCORES)
    assert winter.advice.months == (1, 2, 12)
    assert winter.visits_per_year == 3


def test_it_says_nothing_of_a_season_without_visits() -> None:
    may = points(50, 51, first=date(2024, 5, 1), days=1)
    assert advise(site(), Question("bmwp", season="winter"), may).advice is None


def test_it_judges_the_falls_asked_for() -> None:
    tried = level(told(Question("bmwp", level=47, falls=(7, 30))))
    assert [each.fall for each in tried.catches] == [7, 30]
    assert tried.catches[0].next_visit.value < tried.catches[1].next_visit.value


def test_it_lists_each_baseline_score_once_for_each_visit() -> None:
    assert told().values == sorted(SCORES)


def plain(text: str) -> str:
    """The text with ordinary blanks, as a reader sees it."""
    return text.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize("chance", [0.0004, 0.05, 0.4596, 0.9951])
def test_it_never_breaks_a_line_between_figure_and_sign(chance: float) -> None:
    assert words.percent(chance).endswith("\N{NO-BREAK SPACE}%")


@pytest.mark.parametrize(
    ("chance", "text"),
    [
        (0.0, "0 %"),
        (0.0004, "under 0.1 %"),
        (0.0123, "1.2 %"),
        (0.05, "5 %"),
        (0.0996, "10 %"),
        (0.4596, "46 %"),
        (0.9951, "over 99 %"),
        (1.0, "100 %"),
    ],
)
def test_it_writes_chances_for_people(chance: float, text: str) -> None:
    assert plain(words.percent(chance)) == text


@pytest.mark.parametrize(
    ("rate", "text"),
    [
        (2.4, "about 2.4 a year"),
        (1.0, "about 1 a year"),
        (0.96, "about 1 a year"),
        (0.6, "about two in three years"),
        (0.5, "about one every 2 years"),
        (0.4, "about one every 2.5 years"),
        (0.1, "about one every 10 years"),
    ],
)
def test_it_says_rates_as_people_do(rate: float, text: str) -> None:
    assert words.how_often(rate) == text


def test_it_tells_false_alarms_with_their_interval() -> None:
    calm = LevelAdvice(47, 3, estimate(0.5, 0.001, 1.25), estimate(0.4, 0.05, 0.7), ())
    assert plain(words.alarm_words(calm)) == (
        "False alarms, at a site that has not changed: about one every 2 years (95 % interval: under 0.01 "
        "to 1.25 a year). The chance of at least one in a year is 40 % (5 % to 70 %)."
    )


def test_it_calls_a_level_below_all_visits_an_upper_bound() -> None:
    beyond = LevelAdvice(10, 0, estimate(0.5), estimate(0.4), ())
    assert "upper bound" in words.alarm_words(beyond)
    assert "upper bound" not in words.alarm_words(LevelAdvice(47, 1, estimate(0.5), estimate(0.4), ()))


def test_it_tells_how_soon_a_fall_is_caught() -> None:
    catch = Catch(12, estimate(0.5, 0.3, 0.7), estimate(0.75, 0.5, 0.9))
    assert plain(words.catch_words(catch)) == (
        "A lasting fall by 12 points would be caught at the next visit with a chance of 50 % (30 % to 70 %), "
        "and within two visits with a chance of 75 % (50 % to 90 %)."
    )


def test_it_tells_the_suggested_level_with_a_second_opinion() -> None:
    text = words.suggestion_words(told(None, *SCORES, 64, 65, 66))
    assert text.startswith("Suggested, so that false alarms stay at or below 0.5 a year: 44.")
    assert "bell curve" in text


def test_it_says_how_many_visits_a_suggestion_takes() -> None:
    assert "it takes 23 baseline visits" in words.suggestion_words(told())
    assert "no level can be suggested yet" in words.suggestion_words(told(None, 50, 51))
    assert words.suggestion_words(told(Question("bmwp", level=47, wanted=None))) == ""


def test_it_marks_the_level_tried_among_the_others() -> None:
    rows = words.level_rows(told(Question("bmwp", level=47.5)))
    assert [row["level"] for row in rows if row["is_candidate"]] == ["47.5"]
    assert len(rows) > 5
    lowest = rows[0]
    assert (lowest["level"], lowest["below"]) == ("44", 0)
    assert lowest["alarms"].startswith("≤ ")
    assert not rows[-1]["alarms"].startswith("≤")


def test_it_keeps_a_record_that_the_same_visits_give_again() -> None:
    first, again = (record_advice(told(Question("bmwp", level=47)), was_on_screen=True) for _each in range(2))
    assert first == again
    assert first["level"]["level"] == 47
    assert first["baseline"]["n"] == len(SCORES)
    assert (first["method_version"], first["seed"], first["was_on_screen"]) == ("1980-table-1", 1, True)


def test_it_tells_the_odds_from_the_record() -> None:
    record = record_advice(told(Question("bmwp", level=47)), was_on_screen=True)
    lines = words.record_lines(record)
    assert lines[0].startswith("Odds of a false alarm at this level, from 20 baseline visits: about 2.3 a year")
    # The rate stands beside its interval in one unit: "one every 1.8 years" is no "1.9 a year".
    assert re.search(r"\(2\.\d\d a year; 95 % interval: \d", lines[0])
    assert lines[1:3] == [words.catch_words(each) for each in level(told(Question("bmwp", level=47))).catches]


def test_it_calls_the_odds_of_a_level_below_all_visits_a_bound() -> None:
    record = record_advice(told(Question("bmwp", level=20)), was_on_screen=True)
    assert "20 baseline visits: at most about" in words.odds_words(record)


def test_it_says_in_the_record_what_the_figures_do_not_cover() -> None:
    hidden = record_advice(told(Question("bmwp", level=47, season="winter")), was_on_screen=False)
    lines = " ".join(words.record_lines(hidden))
    assert "December to February only" in lines
    assert "showed the figures of another level" in lines
    assert "provisional" in lines


def test_it_has_no_odds_where_nothing_was_known() -> None:
    empty = record_advice(advise(site(), Question("bmwp", level=30), []), was_on_screen=True)
    assert words.odds_words(empty) == ""
    assert words.record_lines(empty) == ["When it was set there was no baseline visit to work out odds from."]
    assert words.record_lines({}) == []
    assert words.odds_words({}) == ""


def test_it_finds_visits_far_below_all_others() -> None:
    """Middle half of the twenty scores: 48.75 to 58.25, so the fence stands at 48.75 - 3 x 9.5 = 20.25."""
    assert [each.value for each in far_below(points(*SCORES, 12))] == [12]
    assert far_below(points(*SCORES, 25, 120)) == []
    assert far_below(points(50, 51, 52, 53, 54, 55, 2)) == []
