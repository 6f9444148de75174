"""What stands in each table of an export."""

from __future__ import annotations

from datetime import datetime, time
from typing import Any

import pytest

from portal.accounts.models import Membership
from scoring.indices import METHODS
from surveys.importing.columns import COLUMN_BY_NAME
from surveys.models import Visit
from tests.conftest import Cast
from tests.exporting.files import csv_lines, exported, features, xlsx_lines
from tests.factories import SiteFactory, VisitFactory, days_ago, submit

pytestmark = pytest.mark.django_db
COUNTS = [
    {"taxon": "Baetis rhodani", "count": "1200"},
    {"taxon": "Elmidae", "range": "10-99"},
    {"taxon": "Asellidae", "count": "0"},
    {"taxon": "Gammaridae", "range": "1000+"},
    {"taxon": "Simuliidae", "present": True},
]


@pytest.fixture
def visit(cast: Cast) -> Visit:
    """A visit with something of everything."""
    return submit(
        cast.person("volunteer"),
        cast.site,
        visited_on=days_ago(3).isoformat(),
        counts=COUNTS,
        measurements={
            "temperature": {"value": "-0.5"},
            "phosphate": {"value": "<0.05", "unit": "mg/L P"},
            "conductivity": {"value": "0.42", "unit": "mS/cm"},
        },
        notes="Sheep at the ford",
        fraction_sorted="1/4",
    )


def only(lines: list[dict[str, Any]]) -> dict[str, Any]:
    (line,) = lines
    return line


class TestVisits:
    def test_a_row_holds_place_conditions_effort_and_readings(self, cast: Cast, visit: Visit) -> None:
        line = only(csv_lines(exported(cast, "visits")))
        told = {
            "site": "AB1",
            "date": days_ago(3).isoformat(),
            "visit": str(visit.pk),
            "river": "Alder Beck",
            "latitude": "54.5",
            "status": "waiting",
            "made": "yes",
            "start": "10:00",
            "recorder": "Vera Example",
            "partner": "Sam Example",
            "fraction_sorted": "1/4",
            "spot3_seconds": "30",
            "kicking_seconds": "90",
            "kicks": "9",
            "taxa_found": "4",
            "notes": "Sheep at the ford",
        }
        assert {name: line[name] for name in told} == told

    def test_a_reading_keeps_its_limit_and_takes_the_unit_of_its_column(self, cast: Cast, visit: Visit) -> None:
        line = only(csv_lines(exported(cast, "visits")))
        readings = ("temperature_c", "phosphate_mg_l_p", "phosphate_mg_l_po4", "conductivity_us_cm")
        assert [line[name] for name in readings] == ["-0.5", "<0.05", "", "420"]

    def test_every_index_has_value_span_and_version(self, cast: Cast, visit: Visit) -> None:
        line = only(xlsx_lines(exported(cast, "visits", "xlsx")))
        for score in visit.scores.filter(is_current=True):
            assert line[score.index] == (
                pytest.approx(score.value, abs=1e-6) if score.value is not None else None
            )
            assert (line[f"{score.index}_version"] or "") == score.version
        assert set(METHODS) <= set(line)

    def test_a_span_stands_only_where_more_than_one_value_fits(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site, counts=[COUNTS[1], {"taxon": "Baetidae", "count": "12"}])
        line = only(csv_lines(exported(cast, "visits")))
        assert (line["bmwp_lowest"], line["bmwp_highest"]) == ("", "")
        assert float(line["shannon_lowest"]) < float(line["shannon_highest"])

    def test_a_visit_that_was_not_made_says_why(self, cast: Cast) -> None:
        VisitFactory(site=cast.site, was_made=False, not_made_reason="too_high")
        line = only(csv_lines(exported(cast, "visits")))
        assert (line["made"], line["not_made"], line["bmwp"]) == ("no", "too_high", "")

    def test_only_what_was_chosen_is_in_it_and_nothing_of_other_groups(self, cast: Cast, visit: Visit) -> None:
        VisitFactory(site=cast.site, visited_on="2020-01-01")
        VisitFactory(site=cast.neighbour_site)
        assert len(csv_lines(exported(cast, "visits"))) == 2
        assert only(csv_lines(exported(cast, "visits", choice="year=2020")))["date"] == "2020-01-01"

    def test_numbers_dates_and_times_are_such_in_a_workbook(self, cast: Cast, visit: Visit) -> None:
        line = only(xlsx_lines(exported(cast, "visits", "xlsx")))
        assert line["temperature_c"] == -0.5
        assert line["date"] == datetime.combine(days_ago(3), time())
        assert line["start"] == time(10)


class TestCounts:
    def test_each_taxon_has_a_row_with_its_name_as_recorded(self, cast: Cast, visit: Visit) -> None:
        lines = csv_lines(exported(cast, "counts"))
        assert [(line["taxon"], line["count"]) for line in lines] == [
            ("Baetis rhodani", "1200"),
            ("Elmidae", "10-99"),
            ("Asellidae", "0"),
            ("Gammaridae", "1000+"),
            ("Simuliidae", "present"),
        ]

    def test_its_columns_are_those_that_an_import_reads(self, cast: Cast, visit: Visit) -> None:
        assert set(csv_lines(exported(cast, "counts"))[0]) <= set(COLUMN_BY_NAME)

    def test_a_visit_without_counts_has_a_row_all_the_same(self, cast: Cast) -> None:
        VisitFactory(site=cast.site, was_made=False, not_made_reason="dry")
        line = only(csv_lines(exported(cast, "counts")))
        assert (line["taxon"], line["count"], line["not_made"]) == ("", "", "dry")


class TestScoresAndSites:
    def test_a_score_without_a_value_says_why(self, cast: Cast, visit: Visit) -> None:
        by_index = {line["index"]: line for line in csv_lines(exported(cast, "scores"))}
        assert by_index["bmwp"]["value"]
        assert not by_index["bmwp"]["why_none"]
        assert all(line["value"] or line["why_none"] for line in by_index.values())

    def test_sites_come_by_code_with_the_next_one_downstream(self, cast: Cast) -> None:
        SiteFactory(group=cast.group, code="AA9", downstream=cast.site)
        lines = csv_lines(exported(cast, "sites"))
        assert [(line["site"], line["next_site_downstream"]) for line in lines] == [("AA9", "AB1"), ("AB1", "")]

    def test_hazards_ways_and_landowners_stay_in_the_portal(self, cast: Cast) -> None:
        words = {"hazards": "deep mud", "access_notes": "over the stile", "landowner": "Lo Farmer"}
        SiteFactory(group=cast.group, **words)
        for kind in ("csv", "geojson"):
            text = exported(cast, "sites", kind).decode()
            assert not any(word in text for word in words.values())


class TestMaps:
    def test_a_visit_is_a_point_with_longitude_first(self, cast: Cast, visit: Visit) -> None:
        feature = only(features(exported(cast, "visits", "geojson")))
        assert feature["type"] == "Feature"
        assert feature["id"] == str(visit.pk)
        assert feature["geometry"] == {"type": "Point", "coordinates": [-2.5, 54.5]}

    def test_its_properties_are_typed_and_hold_the_counts(self, cast: Cast, visit: Visit) -> None:
        told = only(features(exported(cast, "visits", "geojson")))["properties"]
        assert (told["kicks"], told["made"], told["temperature_c"]) == (9, True, -0.5)
        assert {"taxon": "Elmidae", "count": "10-99"} in told["counts"]
        assert "kit" not in told

    def test_a_choice_that_nothing_fits_is_an_empty_collection(self, cast: Cast) -> None:
        assert features(exported(cast, "visits", "geojson")) == []


class TestNames:
    @pytest.mark.parametrize(
        ("who", "named"), [("coordinator", True), ("volunteer", True), ("other_volunteer", False)]
    )
    def test_names_go_to_coordinators_and_to_whoever_bears_them(
        self, cast: Cast, visit: Visit, who: str, named: bool
    ) -> None:
        line = only(csv_lines(exported(cast, "visits", who=who)))
        assert (line["recorder"] == "Vera Example") == named
        assert (line["partner"] == "Sam Example") == (who == "coordinator")

    def test_whoever_agreed_to_be_named_is_named_to_everybody(self, cast: Cast, visit: Visit) -> None:
        Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(show_name=True)
        assert (
            only(csv_lines(exported(cast, "counts", who="other_volunteer"))[:1])["recorder"] == "Vera Example"
        )


def test_a_csv_begins_with_the_mark_of_utf8_and_ends_its_lines_as_the_standard_says(
    cast: Cast, visit: Visit
) -> None:
    content = exported(cast, "visits")
    assert content.startswith(b"\xef\xbb\xbf")
    assert content.count(b"\r\n") == 2
