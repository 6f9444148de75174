"""What the page of a site's change says, sentence by sentence, and how visits are paired and parted."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.judging.records import site_record
from scoring.comparison import Comparison, compare_pairs
from scoring.indices import METHODS
from scoring.trend import Trend, seasonal_kendall
from surveys.comparing import words
from surveys.comparing.changes import (
    PAIRED_WITHIN,
    Pairing,
    change_of,
    dated,
    indices_scored,
    pair_visits,
    split,
)
from surveys.forms.changes import ChangeForm
from surveys.models import Site, VisitScore
from tests.alerts.conftest import approved_visit
from tests.conftest import Cast
from tests.factories import SiteFactory
from tests.surveys.comparing.test_changes import FIRST, add_scores, change, falling, monthly, trend

BMWP, ASPT, FBI = METHODS["bmwp"], METHODS["aspt"], METHODS["fbi"]
days = st.integers(0, 400).map(lambda number: FIRST + timedelta(days=number))
histories = st.dictionaries(days, st.integers(0, 100).map(float), max_size=12).map(
    lambda found: list(found.items())
)
UPPER, LOWER = Site(code="AB1", name="Top"), Site(code="AB2", name="Mill")


class TestPairs:
    @given(histories, histories)
    def test_it_pairs_no_visits_more_than_a_week_apart(
        self, upper: list[tuple[date, float]], lower: list[tuple[date, float]]
    ) -> None:
        # Scores that say their own day, so that a pair can be read back.
        above = [(day, float(day.toordinal())) for day, _score in upper]
        below = [(day, float(day.toordinal())) for day, _score in lower]
        pairs = pair_visits(above, below)
        assert all(abs(one - other) <= PAIRED_WITHIN for one, other in pairs)
        assert len({one for one, _other in pairs}) == len({other for _one, other in pairs}) == len(pairs)

    @given(histories, histories)
    def test_it_cares_not_for_the_order_of_visits(
        self, upper: list[tuple[date, float]], lower: list[tuple[date, float]]
    ) -> None:
        assert pair_visits(upper, lower) == pair_visits(upper[::-1], lower[::-1])

    @given(histories)
    def test_it_pairs_each_day_with_itself_where_both_sites_were_visited(
        self, history: list[tuple[date, float]]
    ) -> None:
        assert sorted(pair_visits(history, history)) == sorted((score, score) for _day, score in history)

    def test_it_leaves_no_visit_alone_that_has_a_partner_of_its_own_within_the_week(self) -> None:
        assert pair_visits([(FIRST, 1.0)], [(FIRST + timedelta(days=7), 2.0)]) == [(1.0, 2.0)]
        assert pair_visits([(FIRST, 1.0)], [(FIRST + timedelta(days=8), 2.0)]) == []
        assert pair_visits([(FIRST, 1.0)], []) == []


class TestParts:
    @given(histories, days)
    def test_it_puts_every_score_on_one_side_of_the_day(
        self, history: list[tuple[date, float]], since: date
    ) -> None:
        before, after = split(history, since)
        assert sorted(before + after) == sorted(score for _day, score in history)
        assert len(before) == sum(day < since for day, _score in history)

    @pytest.mark.django_db
    def test_it_leaves_out_visits_without_a_score(self, cast: Cast) -> None:
        add_scores(cast, cast.site, {FIRST: 50, monthly(1): 51})
        VisitScore.objects.of_group(cast.group).filter(value=50).update(value=None)
        assert dated(site_record(cast.site, "bmwp").sound) == [(monthly(1), 51.0)]

    @pytest.mark.django_db
    def test_it_offers_the_indices_in_the_order_of_the_methods_and_none_that_was_replaced(
        self, cast: Cast
    ) -> None:
        visit = approved_visit(cast.site, cast.coordinator, cast.other_volunteer, FIRST, 48)
        for index, is_current in (("shannon", True), ("aspt", True), ("fbi", False)):
            VisitScore.objects.create(visit=visit, index=index, version="x", value=1, is_current=is_current)
        assert [method.key for method in indices_scored(cast.site)] == ["bmwp", "aspt", "shannon"]

    @pytest.mark.django_db
    def test_it_compares_with_every_site_above_and_with_the_one_below(self, cast: Cast) -> None:
        below = SiteFactory(group=cast.group, code="AB5", name="Weir")
        cast.site.downstream = below
        cast.site.save()
        above = [SiteFactory(group=cast.group, code=code, downstream=cast.site) for code in ("AB3", "AB4")]
        pairings = change_of(cast.site, "bmwp", None).pairings
        assert [(each.first, each.second) for each in pairings] == [
            (above[0], cast.site), (above[1], cast.site), (cast.site, below)
        ]  # fmt: skip

    @pytest.mark.django_db
    def test_it_turns_the_difference_of_neighbours_round_with_the_river(self, cast: Cast) -> None:
        below = SiteFactory(group=cast.group, code="AB5", name="Weir")
        cast.site.downstream = below
        cast.site.save()
        add_scores(cast, cast.site, {monthly(n): 60.0 + n % 3 for n in range(12)})
        add_scores(cast, below, {monthly(n): 50.0 + n % 3 for n in range(12)})
        found = [change_of(site, "bmwp", None).pairings[0].comparison for site in (cast.site, below)]
        assert found[0] == found[1] == compare_pairs([(60.0 + n % 3, 50.0 + n % 3) for n in range(12)])
        assert found[0] is not None
        assert found[0].difference == -10


class TestTrend:
    @pytest.mark.parametrize(
        ("method", "s", "meaning"),
        [(BMWP, 30, "improved"), (BMWP, -30, "got worse"), (FBI, 30, "got worse"), (FBI, -30, "improved")],
    )
    def test_it_says_what_a_rise_or_fall_means_for_the_water(
        self, method: object, s: int, meaning: str
    ) -> None:
        lines = words.trend_lines(change(trend=trend(s=s), method=method))
        assert lines[0] == ("Scores are rising." if s > 0 else "Scores are falling.")
        assert lines[-1].endswith(f"by this index the water {meaning}.")

    def test_it_speaks_in_the_unit_of_the_index(self) -> None:
        (line,) = words.trend_lines(change(trend=trend(p=0.4), method=ASPT))
        assert "The best estimate is −6.000 points per taxon a year" in line

    def test_it_calls_a_clear_result_of_few_values_a_hint(self) -> None:
        lines = words.trend_lines(change(trend=trend(values=9)))
        assert lines[-1] == "There are only 9 values: take this for a hint, not for a result."
        assert "hint" not in words.trend_lines(change(trend=trend(values=10)))[-1]

    @pytest.mark.parametrize(
        ("season", "told"),
        [
            ("month", "months with the same months of other years"),
            ("quarter", "seasons with the same seasons of other years"),
            ("year", "yearly medians"),
        ],
    )
    def test_it_says_what_was_compared(self, season: str, told: str) -> None:
        assert dict(words.trend_facts(change(trend=trend(), season=season)))["Compared"] == told

    def test_its_numbers_are_those_of_the_test(self) -> None:
        found: Trend = seasonal_kendall(list(falling().items()))
        facts = dict(words.trend_facts(change(trend=found)))
        assert facts["Values (medians of their season)"] == str(found.values)
        assert facts["Pairs of years"] == str(found.pairs)
        assert float(facts["Kendall's tau"].replace("−", "-")) == pytest.approx(found.tau, abs=0.0005)
        assert facts["Sen's slope a year"] == "−6.0"

    def test_it_gives_no_interval_where_there_is_none(self) -> None:
        facts = dict(words.trend_facts(change(trend=trend(low=None, high=None))))
        assert "its interval (95 %)" not in facts
        assert "Sen's slope a year" in facts


class TestComparison:
    @pytest.mark.parametrize(
        ("low", "high", "words_of_it"),
        [
            (1.0, 6.0, "higher than"),
            (-6.0, -1.0, "lower than"),
            (-1.0, 6.0, "no difference to"),
            (0.0, 6.0, "no difference to"),
        ],
    )
    def test_it_concludes_only_where_the_interval_leaves_nought_out(
        self, low: float, high: float, words_of_it: str
    ) -> None:
        found = Comparison(12, 12, (low + high) / 2, low, high, 0.95)
        (line,) = words.pairing_lines(Pairing(UPPER, LOWER, 12, found, None), BMWP)
        assert line.startswith(("AB2 Mill: ", "AB2 Mill "))
        assert words_of_it in line

    def test_it_adds_the_change_of_the_gap_only_where_there_is_one(self) -> None:
        found = Comparison(12, 12, 3.0, 1.0, 6.0, 0.95)
        assert len(words.pairing_lines(Pairing(UPPER, LOWER, 12, found, None), BMWP)) == 1
        assert len(words.pairing_lines(Pairing(UPPER, LOWER, 12, found, found), BMWP)) == 2

    def test_it_names_both_numbers_of_visits(self) -> None:
        assert dict(words.comparison_facts(Comparison(9, 4, 1.0), BMWP)) == {
            "Visits": "9; 4",
            "Hodges-Lehmann difference": "+1.0",
        }

    @given(st.floats(-200, 200))
    def test_it_writes_every_difference_with_its_sign(self, value: float) -> None:
        for method in (BMWP, ASPT):
            text = words.signed(value, method)
            nearest = pytest.approx(value, abs=0.51 * 10 ** -(method.decimals + 1))
            assert float(text.replace("−", "-")) == nearest
            assert text[0] in "+−" or float(text) == 0
            assert len(text.partition(".")[2]) == method.decimals + 1

    @pytest.mark.parametrize(
        ("p", "cases"), [(0.00099, "1,000"), (0.001, "0.1"), (0.0099, "1.0"), (0.01, "1"), (1, "100")]
    )
    def test_it_says_a_chance_in_cases_at_its_limits(self, p: float, cases: str) -> None:
        assert f" {cases} " in f" {words.chance_words(p)} "


class TestForm:
    def test_it_refuses_an_index_that_the_site_has_not(self) -> None:
        assert "index" in ChangeForm({"index": "fbi"}, methods=[BMWP]).errors

    def test_it_needs_neither_index_nor_day(self) -> None:
        form = ChangeForm({"index": "", "since": ""}, methods=[BMWP])
        assert form.is_valid()
        assert (form.cleaned_data["index"], form.cleaned_data["since"]) == ("", None)

    def test_it_offers_an_index_where_no_visit_has_one_yet(self) -> None:
        assert str(ChangeForm(methods=[])["index"]).count("<option") == 1
        assert 'value="bmwp"' in str(ChangeForm(methods=[])["index"])

    def test_it_says_that_a_day_is_none(self) -> None:
        assert "since" in ChangeForm({"since": "31 February"}, methods=[BMWP]).errors
