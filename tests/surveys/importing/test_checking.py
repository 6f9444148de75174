"""What a check says of a sheet: each problem with its row and column, and the visits it holds."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from portal.accounts.models import Membership
from surveys.importing import CheckedSheet
from surveys.models import Visit
from tests.conftest import Cast
from tests.factories import SiteFactory, member_of
from tests.surveys.importing.sheets import checked, only_problem, problems


def test_it_joins_the_rows_of_a_site_and_day_to_one_visit(cast: Cast) -> None:
    found = checked(
        cast,
        {"taxon": "Baetidae", "count": "12"},
        {"taxon": "Gammaridae", "count": "10-99"},
        {"taxon": "Perlidae", "count": "0"},
        {"date": "2024-06-03"},
    )
    assert not found.problems
    assert (found.rows_read, found.new) == (4, 2)
    first, second = found.submissions
    assert [(each.name, each.count, each.low, each.high) for each in first.counts] == [
        ("Baetidae", 12, None, None),
        ("Gammaridae", None, 10, 99),
        ("Perlidae", 0, None, None),
    ]
    assert (first.site, str(first.visited_on), str(second.visited_on)) == (
        cast.site.id,
        "2024-05-03",
        "2024-06-03",
    )


def test_it_writes_nothing(cast: Cast) -> None:
    assert checked(cast, {}).new == 1
    assert not Visit.objects.of_group(cast.group).exists()


def test_it_tells_two_visits_of_a_day_apart_by_the_visit_column(cast: Cast) -> None:
    found = checked(cast, {"visit": "morning"}, {"visit": "evening"}, {"visit": "Morning", "taxon": "Elmidae"})
    # The header says visit in both cases; a different case of the same word is no contradiction.
    assert [len(each.counts) for each in found.submissions] == [2, 1]
    assert len({each.id for each in found.submissions}) == 2


def test_it_gives_a_visit_the_same_number_in_every_file(cast: Cast) -> None:
    (one,) = checked(cast, {"taxon": "Elmidae"}).submissions
    (same,) = checked(cast, {"site": "ab1"}).submissions
    other_day, other_site = checked(cast, {"date": "2024-05-04"}), _at_another_site(cast)
    assert one.id == same.id
    assert len({one.id, other_day.submissions[0].id, other_site.submissions[0].id}) == 3


def _at_another_site(cast: Cast) -> CheckedSheet:
    SiteFactory(group=cast.group, code="AB2")
    return checked(cast, {"site": "AB2"})


def test_it_reads_every_column_of_a_visit(cast: Cast) -> None:
    (visit,) = checked(
        cast,
        {
            "start": "10:00",
            "end": "11:10",
            "recorder": "Vera Example",
            "partner": "Sam Someone",
            "water_level": "Low",
            "clarity": "clear",
            "weather": "heavy rain",
            "weather_past_week": "dry",
            "pollution_signs": "grey film",
            "notes": "sheep",
            "spot1_flow": "Riffle",
            "spot1_kicks": "3",
            "spot1_seconds": "30",
            "spot1_depth_cm": "20",
            "spot2_kicks": "2",
            "spot2_seconds": "18.5",
            "temperature_c": "11.4",
            "conductivity_us_cm": "420",
            "nitrate_mg_l_n": "2.7",
            "phosphate_mg_l_po4": "<0.05",
        },
    ).submissions
    assert (visit.started_at.isoformat(), visit.ended_at.isoformat()) == ("10:00:00", "11:10:00")  # type: ignore[union-attr]
    assert (visit.recorder, visit.recorder_name) == (cast.volunteer.pk, "")
    assert (visit.partner, visit.partner_name) == (None, "Sam Someone")
    assert (visit.water_level, visit.clarity, visit.weather) == ("low", "clear", "heavy_rain")
    assert (visit.weather_past_week, visit.pollution_signs, visit.notes) == ("dry", "grey film", "sheep")
    spots = [(spot.number, spot.flow_type, spot.kicks, spot.seconds, spot.depth_cm) for spot in visit.spots]
    assert spots == [(1, "riffle", 3, Decimal(30), Decimal(20)), (2, "", 2, Decimal("18.5"), None)]
    readings = {each.quantity: (each.as_typed, each.unit) for each in visit.measurements}
    assert readings == {
        "temperature": ("11.4", "°C"),
        "conductivity": ("420", "µS/cm"),
        "nitrate": ("2.7", "mg/L N"),
        "phosphate": ("<0.05", "mg/L PO4"),
    }


def test_it_takes_the_word_standard_for_the_plan_of_the_site(cast: Cast) -> None:
    (visit,) = checked(cast, {"effort": "Standard"}).submissions
    assert [(spot.number, spot.kicks, spot.seconds) for spot in visit.spots] == [
        (number, 3, Decimal(30)) for number in (1, 2, 3)
    ]


def test_it_takes_past_visits_without_any_effort(cast: Cast) -> None:
    (visit,) = checked(cast, {}).submissions
    assert visit.spots == ()


def test_it_refuses_a_visit_on_which_nothing_was_counted(cast: Cast) -> None:
    found = only_problem(cast, {"taxon": "", "count": "", "ph": "7.4"})
    assert found.row == 2
    assert "write 0" in found.message


def test_it_takes_a_visit_that_could_not_be_made(cast: Cast) -> None:
    found = checked(cast, {"taxon": "", "count": "", "not_made": "Too high"})
    (visit,) = found.submissions
    assert not found.problems
    assert (visit.was_made, visit.not_made_reason) == (False, "too_high")


def test_it_takes_what_a_visit_says_in_one_row_for_the_whole_visit(cast: Cast) -> None:
    (visit,) = checked(cast, {"ph": ""}, {"taxon": "Elmidae", "ph": "7.4"}).submissions
    assert visit.reading("ph")


def test_it_keeps_species_of_one_family_apart_under_their_family(cast: Cast) -> None:
    (visit,) = checked(cast, {"taxon": "Baetis rhodani"}, {"taxon": "Baetis niger"}).submissions
    assert [(each.taxon, each.recorded_as) for each in visit.counts] == [
        ("Baetidae", "Baetis rhodani"),
        ("Baetidae", "Baetis niger"),
    ]


@pytest.mark.parametrize("typed", ["vera@example.org", "VERA@example.org", "vera example", "Vera  Example"])
def test_it_knows_members_by_name_and_address(cast: Cast, typed: str) -> None:
    (visit,) = checked(cast, {"recorder": typed}).submissions
    assert visit.recorder == cast.volunteer.pk


def test_it_knows_members_who_have_left(cast: Cast) -> None:
    Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(left_at=timezone.now())
    (visit,) = checked(cast, {"recorder": "Vera Example"}).submissions
    assert visit.recorder == cast.volunteer.pk


def test_it_keeps_a_name_that_two_members_share_as_a_name(cast: Cast) -> None:
    member_of(cast.group, name="Vera Example", email="vera2@example.org")
    (visit,) = checked(cast, {"recorder": "Vera Example"}).submissions
    assert (visit.recorder, visit.recorder_name) == (None, "Vera Example")


def test_it_does_not_know_the_members_of_another_group(cast: Cast) -> None:
    (visit,) = checked(cast, {"recorder": "Nora Example"}).submissions
    assert (visit.recorder, visit.recorder_name) == (None, "Nora Example")
    assert "No member" in only_problem(cast, {"recorder": "nora@example.org"}).message


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ({"site": ""}, "site", "every row"),
        ({"date": ""}, "date", "every row"),
        ({"site": "ZZ9"}, "site", "AB1"),
        ({"site": "WB1"}, "site", "no site “WB1”"),
        ({"date": "03/05/2024"}, "date", "year-month-day"),
        ({"date": "2024-02-30"}, "date", "year-month-day"),
        ({"taxon": ""}, "taxon", "Which taxon"),
        ({"taxon": "Beatidae"}, "taxon", "Baetidae"),
        ({"taxon": "Zzyzx"}, "taxon", "not a name we know"),
        ({"count": ""}, "count", "How many"),
        ({"count": "some"}, "count", "whole number"),
        ({"count": "12.5"}, "count", "whole number"),
        ({"count": "-3"}, "count", "less than 0"),
        ({"count": "5-20"}, "count", "1-9, 10-99"),
        ({"count": "2024-09-01"}, "count", "date"),
        ({"count": "01-Sep"}, "count", "date"),
        ({"count": "Oct-99"}, "count", "date"),
        ({"start": "ten"}, "start", "10:30"),
        ({"water_level": "sideways"}, "water_level", "Choose"),
        ({"not_made": "bored", "taxon": "", "count": ""}, "not_made", "Choose"),
        ({"temperature_c": "warm"}, "temperature_c", "number"),
        ({"temperature_c": "114"}, "temperature_c", ""),
        ({"ph": "74"}, "ph", ""),
        ({"effort": "full"}, "effort", "standard"),
        ({"effort": "standard", "spot1_kicks": "3", "spot1_seconds": "30"}, "effort", "not both"),
        ({"spot1_flow": "riffle"}, "spot1_flow", "kicks and the seconds"),
        ({"spot2_kicks": "many", "spot2_seconds": "30"}, "spot2_kicks", "whole number"),
        ({"spot1_kicks": "3"}, "spot1_kicks", ""),
        ({"nitrate_mg_l_no3": "12", "nitrate_mg_l_n": "2.7"}, "nitrate_mg_l_n", "another unit"),
        ({"recorder": "who@example.org"}, "recorder", "No member"),
        ({"depth": "20"}, "depth", "none of ours"),
    ],
)
def test_it_names_the_cell_and_says_what_is_wrong(
    cast: Cast, row: dict[str, str], column: str, says: str
) -> None:
    found = only_problem(cast, {"taxon": "Elmidae", "date": "2023-05-03"}, row)
    assert (found.row, found.column) == (1 if column == "depth" else 3, column)
    assert says in found.message


def test_it_refuses_counts_of_a_visit_that_could_not_be_made(cast: Cast) -> None:
    found = only_problem(cast, {"not_made": "too_high"})
    assert (found.row, found.column) == (2, "count")


def test_it_refuses_a_day_still_to_come(cast: Cast) -> None:
    tomorrow = (timezone.localdate() + timedelta(days=1)).isoformat()
    assert only_problem(cast, {"date": tomorrow}).column == "date"


def test_it_refuses_a_taxon_counted_twice_in_a_visit(cast: Cast) -> None:
    found = only_problem(cast, {"taxon": "Baetidae"}, {"taxon": "Elmidae"}, {"taxon": "baetidae", "count": "3"})
    assert (found.row, found.column) == (4, "taxon")
    assert "row 2" in found.message


def test_it_refuses_rows_of_one_visit_that_contradict_each_other(cast: Cast) -> None:
    found = only_problem(cast, {"ph": "7.4"}, {"taxon": "Elmidae", "ph": "7.5"})
    assert (found.row, found.column) == (3, "ph")
    assert "7.4" in found.message
    assert "row 2" in found.message


def test_it_lists_every_problem_in_the_order_of_the_rows(cast: Cast) -> None:
    found = problems(
        cast, {"site": "ZZ9"}, {"count": "some"}, {"taxon": "Elmidae"}, {"date": "2023-01-01", "ph": "acid"}
    )
    assert [(each.row, each.column) for each in found] == [(2, "site"), (3, "count"), (5, "ph")]


def test_it_counts_what_is_unusual_but_possible(cast: Cast) -> None:
    found = checked(cast, {"ph": "9.5"})
    assert not found.problems
    assert found.findings >= 1


@pytest.mark.parametrize("typed", ["1-9", "1–9", "1 - 9", "1 to 9"])
def test_it_reads_ranges_in_every_usual_shape(cast: Cast, typed: str) -> None:
    (visit,) = checked(cast, {"count": typed}).submissions
    assert (visit.counts[0].low, visit.counts[0].high) == (1, 9)


@pytest.mark.parametrize("typed", ["1000+", "1,000+"])
def test_it_reads_the_open_range(cast: Cast, typed: str) -> None:
    (visit,) = checked(cast, {"count": typed}).submissions
    assert (visit.counts[0].low, visit.counts[0].high) == (1000, None)
