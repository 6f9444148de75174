"""A saved visit laid out for reading."""

from __future__ import annotations

import pytest
from django.utils import translation

from surveys.models import Finding, TaxonCount, Visit, VisitScore
from surveys.queries import visits_of
from surveys.visits.sheets import Line, ScoreLine, VisitSheet, counted, printed, score_lines, score_sheet
from tests.conftest import Cast
from tests.factories import (
    MeasurementFactory,
    SpotEffortFactory,
    TaxonCountFactory,
    UserFactory,
    VisitFactory,
    submit,
)


@pytest.fixture
def visit(cast: Cast) -> Visit:
    return VisitFactory(site=cast.site, recorder=cast.volunteer, partner_name="Sam Example")


def found(visit: Visit, field: str, message: str = "Look at this.") -> Finding:
    return Finding.objects.create(visit=visit, rule="test", field=field, message=message)


def pairs(lines: list[Line]) -> dict[str, str]:
    return {line.label: line.value for line in lines}


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (TaxonCount(count=0), "looked for, none"),
        (TaxonCount(count=1), "1"),
        (TaxonCount(count=1200), "1,200"),
        (TaxonCount(low=1, high=9), "1–9"),
        (TaxonCount(low=100, high=999), "100–999"),
        (TaxonCount(low=1000), "1,000+"),
    ],
)
def test_it_prints_counts_as_ranges_or_numbers(count: TaxonCount, words: str) -> None:
    assert counted(count) == words


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (6.857, 2, "6.86"),
        (6.853, 2, "6.85"),
        (48.0, 0, "48"),
        (0.5, 2, "0.50"),
        (0.0, 1, "0.0"),
        (None, 2, "–"),
    ],
)
def test_it_rounds_a_score_and_never_cuts_it_off(value: float | None, decimals: int, text: str) -> None:
    assert printed(value, decimals) == text


class TestSheet:
    def test_it_names_who_was_there(self, visit: Visit) -> None:
        people = pairs(VisitSheet(visit).people)
        assert people["Recorder"] == "Vera Example"
        assert people["Partner"] == "Sam Example"

    def test_it_names_the_recorder_of_an_old_record_who_has_no_account(self, cast: Cast) -> None:
        visit = VisitFactory(site=cast.site, recorder=None, recorder_name="Old Example")
        assert pairs(VisitSheet(visit).people)["Recorder"] == "Old Example"

    def test_it_says_so_when_nobody_is_noted(self, cast: Cast) -> None:
        people = pairs(VisitSheet(VisitFactory(site=cast.site, recorder=None)).people)
        assert (people["Recorder"], people["Partner"]) == ("not known", "nobody noted")

    def test_it_prefers_the_account_of_a_partner_to_a_typed_name(self, visit: Visit) -> None:
        visit.partner = UserFactory(name="Pia Example")
        assert pairs(VisitSheet(visit).people)["Partner"] == "Pia Example"

    def test_it_leaves_out_conditions_nobody_noted(self, visit: Visit) -> None:
        visit.water_level = "spate"
        assert pairs(VisitSheet(visit).conditions) == {
            "Water level": "in spate, or falling within a week of one"
        }

    def test_it_adds_up_the_kicking_time(self, visit: Visit) -> None:
        SpotEffortFactory(visit=visit, number=1, seconds="30.0")
        SpotEffortFactory(visit=visit, number=2, seconds="29.5", depth_cm="12.0")
        sheet = VisitSheet(visit)
        assert sheet.seconds == "59.5"
        assert [spot.depth.value for spot in sheet.spots] == ["", "12 cm"]
        assert [spot.seconds.value for spot in sheet.spots] == ["30 s", "29.5 s"]

    def test_it_keeps_a_reading_as_typed_and_says_its_unit_once(self, visit: Visit) -> None:
        MeasurementFactory(visit=visit)
        MeasurementFactory(
            visit=visit, quantity="phosphate", unit="mg/L P", as_typed="<0.05", is_below_limit=True
        )
        assert pairs(VisitSheet(visit).measurements) == {"pH": "7.9", "Phosphate": "<0.05 mg/L P"}

    @pytest.mark.parametrize(("language", "words"), [("en", "7.50 30.5 s"), ("de", "7,50 30,5 s")])
    def test_it_writes_every_number_with_the_decimal_sign_of_the_page(
        self, visit: Visit, language: str, words: str
    ) -> None:
        MeasurementFactory(visit=visit, quantity="ph", unit="pH", as_typed="7,50", value="7.5")
        SpotEffortFactory(visit=visit, number=1, seconds="30.5")
        with translation.override(language):
            sheet = VisitSheet(visits_of(visit.group).get())
        assert f"{sheet.measurements[0].value} {sheet.spots[0].seconds.value}" == words

    def test_it_parts_what_was_found_from_what_was_not(self, visit: Visit) -> None:
        TaxonCountFactory(visit=visit, taxon="Baetidae", recorded_as="Baetis rhodani")
        TaxonCountFactory(visit=visit, taxon="Elmidae", count=0)
        sheet = VisitSheet(visit)
        assert [line.label for line in sheet.found] == ["Baetis rhodani (Baetidae)"]
        assert [line.label for line in sheet.absent] == ["Elmidae"]

    def test_it_puts_each_finding_beside_its_field(self, visit: Visit) -> None:
        SpotEffortFactory(visit=visit, number=2)
        MeasurementFactory(visit=visit)
        TaxonCountFactory(visit=visit, recorded_as="Baetis rhodani")
        for field in ("visited_on", "spots.2.seconds", "measurements.ph", "counts.Baetis rhodani"):
            found(visit, field, field)
        sheet = VisitSheet(visit)
        places = [sheet.people[0], sheet.spots[0].seconds, sheet.measurements[0], sheet.counts[0]]
        assert [line.findings[0].message for line in places] == [
            "visited_on",
            "spots.2.seconds",
            "measurements.ph",
            "counts.Baetis rhodani",
        ]
        assert sheet.general_findings == []

    def test_it_shows_a_field_left_empty_when_a_finding_speaks_of_it(self, visit: Visit) -> None:
        visit.water_level = ""
        found(visit, "water_level")
        assert [line.label for line in VisitSheet(visit).conditions] == ["Water level"]

    def test_it_never_loses_a_finding_that_belongs_to_no_field_shown(self, visit: Visit) -> None:
        lost = [found(visit, "spots"), found(visit, "spots.9.seconds"), found(visit, "counts.Unheard")]
        assert set(VisitSheet(visit).general_findings) == set(lost)


class TestScores:
    def lines(self, cast: Cast, counts: list[dict[str, str]]) -> dict[str, ScoreLine]:
        submit(cast.person("volunteer"), cast.site, counts=counts)
        visit = visits_of(cast.group).get()
        return {line.index: line for line in score_lines(visit)}

    def test_it_lists_every_index_with_its_method(self, cast: Cast) -> None:
        bmwp = self.lines(cast, [{"taxon": "Baetidae", "count": "4"}])["bmwp"]
        assert (bmwp.name, bmwp.value, bmwp.low, bmwp.high) == ("BMWP", "4", "", "")
        assert bmwp.version

    def test_it_tells_the_span_that_ranges_allow(self, cast: Cast) -> None:
        counts = [{"taxon": "Baetidae", "range": "10-99"}, {"taxon": "Elmidae", "count": "10"}]
        shannon = self.lines(cast, counts)["shannon"]
        assert (shannon.low, shannon.high) == ("0.31", "0.69")

    def test_it_says_why_there_is_no_score(self, cast: Cast) -> None:
        aspt = self.lines(cast, [{"taxon": "Baetidae", "count": "0"}])["aspt"]
        assert aspt.value == "–"
        assert "not defined" in aspt.why_none

    def test_it_passes_over_scores_no_longer_in_force(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site)
        VisitScore.objects.create(visit=visit, index="bmwp", version="old", value=3, is_current=False)
        bmwp = next(line for line in score_lines(visits_of(cast.group).get()) if line.index == "bmwp")
        assert bmwp.value == "48"

    def test_it_leads_with_the_scores_people_know(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site)
        leading = score_sheet(visits_of(cast.group).get()).leading
        assert [line.index for line in leading] == [
            "bmwp",
            "ntaxa",
            "aspt",
            "ept_families",
            "shannon",
            "simpson",
        ]
