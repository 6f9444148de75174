"""The laid-out visit form: what was typed stays, and each mistake stands at its field."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import uuid4

import pytest

from surveys.forms import VisitEntry, read_entry, visit_entry
from surveys.forms.counts import CountTable
from surveys.forms.entry import name_of, seconds_in
from surveys.models import ListTaxon, Site
from surveys.submission import InvalidSubmission, Problem
from tests.factories import SiteFactory, data_for

TAXA = [
    ListTaxon(position=1, taxon="Baetidae", label="Swimming mayfly", section="Mayflies"),
    ListTaxon(position=2, taxon="Heptageniidae", label="Flat mayfly", section="Mayflies"),
    ListTaxon(position=3, taxon="Elmidae", label="Riffle beetle", section="Beetles"),
]


def entry_of(
    data: dict[str, Any], problems: Iterable[Problem] = (), findings: Iterable[Problem] = ()
) -> VisitEntry:
    site = Site(code="S1", name="Ford", spots=3, kicks_per_spot=3, seconds_per_kick=10)
    return visit_entry(site=site, people=[], taxa=TAXA, data=data, problems=problems, findings=findings)


def problem(field: str, message: str = "Look again.") -> Problem:
    return Problem(field, message, "test")


def test_it_shows_a_row_for_every_taxon_of_the_list_under_its_heading() -> None:
    sections = entry_of({}).counts.sections
    assert [(section.title, len(section.rows)) for section in sections] == [("Mayflies", 2), ("Beetles", 1)]


def test_it_opens_the_first_section_and_those_with_an_entry() -> None:
    assert [section.is_open for section in entry_of({}).counts.sections] == [True, False]
    counts = [{"taxon": "Elmidae", "count": "1"}]
    assert [section.is_open for section in entry_of({"counts": counts}).counts.sections] == [True, True]


def test_it_opens_the_section_of_a_mistake() -> None:
    data = {"counts": [{"taxon": "Elmidae", "count": "many"}]}
    entry = entry_of(data, [problem("counts.Elmidae")])
    row = entry.counts.sections[1].rows[0]
    assert row.errors == ("Look again.",)
    assert row.count == "many"
    assert entry.counts.sections[1].is_open


def test_it_shows_a_count_of_nought_as_looked_for_and_not_found() -> None:
    row = entry_of({"counts": [{"taxon": "Baetidae", "count": "0"}]}).counts.sections[0].rows[0]
    assert (row.is_none, row.count) == (True, "")


def test_it_keeps_a_tick_and_a_number_that_contradict_each_other() -> None:
    row = entry_of({"counts": [{"taxon": "Baetidae", "count": "7", "none": True}]}).counts.sections[0].rows[0]
    assert (row.is_none, row.count) == (True, "7")


def test_it_shows_taxa_off_the_list_and_second_lines_below() -> None:
    counts = [
        {"taxon": "Baetidae", "recorded_as": "Baetis rhodani", "count": "3"},
        {"taxon": "Baetidae", "recorded_as": "Baetis vernus", "count": "4"},
        {"taxon": "Hydra", "count": "1"},
    ]
    table = entry_of({"counts": counts}).counts
    assert table.sections[0].rows[0].recorded_as == "Baetis rhodani"
    assert [(row.name, row.taxon, row.recorded_as) for row in table.others] == [
        ("other-1", "Baetidae", "Baetis vernus"),
        ("other-2", "Hydra", ""),
    ]
    assert [row.name for row in table.spare] == ["other-3", "other-4", "other-5"]


def test_it_puts_a_finding_at_the_row_and_the_field_it_concerns() -> None:
    data = {"counts": [{"taxon": "Baetidae", "count": "9000"}]}
    entry = entry_of(data, findings=[problem("counts.Baetidae"), problem("measurements.ph", "Unusual.")])
    assert entry.counts.sections[0].rows[0].findings == ("Look again.",)
    assert entry.form.findings["measurements-ph-value"] == ["Unusual."]
    assert entry.mistakes == ()


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("visited_on", "visited_on"),
        ("spots.1.seconds", "spots-1-seconds"),
        ("spots.2", "spots-2-kicks"),
        ("measurements.ph", "measurements-ph-value"),
        ("measurements.nitrate.unit", "measurements-nitrate-unit"),
        ("spots", "spots"),
    ],
)
def test_it_finds_the_name_of_the_field_for_a_path(path: str, name: str) -> None:
    assert name_of(path) == name


@pytest.mark.parametrize(
    ("path", "target", "label"),
    [
        ("visited_on", "id_visited_on", "Date of the visit"),
        ("was_made", "id_was_made_0", "Was the sample taken?"),
        ("spots.1.seconds", "id_spots-1-seconds", "Spot 1, time, s"),
        ("measurements.ph", "id_measurements-ph-value", "pH"),
        ("counts.Elmidae", "id_counts-3-elmidae-count", "Elmidae"),
        ("spots", "effort", "Effort really made"),
        ("counts.Unheard", "counts", "Unheard"),
        ("counts", "counts", "What was in the tray"),
        ("counts.", "counts", "Other taxa"),
        ("submission", "", ""),
    ],
)
def test_it_links_each_mistake_to_its_place(path: str, target: str, label: str) -> None:
    mistake = entry_of({"counts": [{"taxon": "Elmidae", "count": "x"}]}, [problem(path)]).mistakes[0]
    assert (mistake.target, mistake.label, mistake.message) == (target, label, "Look again.")


def test_it_lists_mistakes_from_the_top_of_the_page_to_its_end() -> None:
    down = ["visited_on", "ended_at", "pollution_signs", "spots", "spots.3.seconds", "measurements.ph"]
    down += ["fraction_sorted", "counts.Elmidae", "notes"]
    entry = entry_of({}, [problem(path) for path in reversed(down)])
    targets = [mistake.target for mistake in entry.mistakes]
    assert targets[:5] == ["id_visited_on", "id_ended_at", "id_pollution_signs", "effort", "id_spots-3-seconds"]
    assert targets[5:] == [
        "id_measurements-ph-value",
        "id_fraction_sorted",
        "id_counts-3-elmidae-count",
        "id_notes",
    ]


def test_it_leads_to_the_missing_name_of_another_taxon() -> None:
    data = {"counts": [{"taxon": "Hydra", "count": "1"}, {"taxon": "", "count": "3"}]}
    entry = entry_of(data, [problem("counts.")])
    assert entry.mistakes[0].target == "id_other-2-taxon"
    assert [row.errors for row in entry.counts.others] == [(), ("Look again.",)]


def test_it_shows_a_mistake_at_its_field_too() -> None:
    entry = entry_of({"spots": [{"number": 1, "seconds": "long"}]}, [problem("spots.1.seconds")])
    field = entry.form["spots-1-seconds"]
    assert list(field.errors) == ["Look again."]
    assert field.value() == "long"


def test_it_offers_the_planned_spots_and_one_to_spare() -> None:
    assert entry_of({}).form.spot_numbers == [1, 2, 3, 4]


def test_it_offers_as_many_spots_as_were_typed() -> None:
    assert entry_of({"spots": [{"number": 6, "kicks": "3"}]}).form.spot_numbers[-1] == 7


def test_it_offers_a_choice_of_unit_only_where_there_is_one() -> None:
    with_choice = [value.name for value, unit in entry_of({}).form.measurements() if unit]
    assert "measurements-phosphate-value" in with_choice
    assert "measurements-temperature-value" not in with_choice


def test_it_adds_up_the_kicking_time_and_passes_over_what_is_no_number() -> None:
    spots = [{"seconds": "30"}, {"seconds": "29,5"}, {"seconds": "half a minute"}, {}]
    assert seconds_in({"spots": spots}) == 59.5


@pytest.mark.django_db
class TestReading:
    def read(self, **changes: Any) -> tuple[Problem, ...]:
        site = SiteFactory()
        try:
            read_entry(data_for(site, **changes), number=uuid4(), site=site.pk)
        except InvalidSubmission as refusal:
            return refusal.problems
        return ()

    def test_it_takes_a_sound_visit(self) -> None:
        assert self.read() == ()

    def test_it_gives_the_visit_the_number_of_the_address_and_not_of_the_data(self) -> None:
        site, number = SiteFactory(), uuid4()
        submission = read_entry(data_for(site), number=number, site=site.pk)
        assert (submission.id, submission.site) == (number, site.pk)

    def test_it_asks_which_holds_when_none_is_ticked_beside_a_number(self) -> None:
        problems = self.read(counts=[{"taxon": "Baetidae", "count": "7", "none": True}])
        assert [each.field for each in problems] == ["counts.Baetidae"]
        assert "Keep one of the two" in problems[0].message

    def test_it_asks_how_many_when_another_taxon_has_only_a_name(self) -> None:
        problems = self.read(counts=[{"taxon": "Hydra", "recorded_as": ""}])
        assert [each.field for each in problems] == ["counts.Hydra"]

    def test_it_asks_what_it_was_when_another_taxon_has_only_a_number(self) -> None:
        problems = self.read(counts=[{"taxon": "", "recorded_as": "", "count": "3"}])
        assert [each.field for each in problems] == ["counts."]

    def test_it_takes_planned_kicks_alone_for_nothing_done_at_a_visit_not_made(self) -> None:
        gap: dict[str, Any] = {"was_made": False, "not_made_reason": "dry", "counts": {}, "measurements": {}}
        assert self.read(spots=[{"number": 1, "kicks": "3"}], **gap) == ()
        problems = self.read(spots=[{"number": 1, "kicks": "3", "seconds": "soon"}], **gap)
        assert [each.field for each in problems] == ["spots.1.seconds"]

    def test_it_tells_its_own_mistakes_together_with_the_parsers(self) -> None:
        problems = self.read(visited_on="soon", counts=[{"taxon": "Baetidae", "count": "7", "none": True}])
        assert {each.field for each in problems} == {"counts.Baetidae", "visited_on"}


def test_it_suggests_names_for_one_it_does_not_know_and_takes_none() -> None:
    entries = [{"taxon": "Hydrobiidea", "count": "3"}, {"taxon": "Hydrobiidae", "count": "3"}]
    table = CountTable([], entries, {"Hydrobiidea": ["Unknown."], "Hydrobiidae": ["Too many."]})
    wrong, known = table.others
    assert wrong.taxon == "Hydrobiidea"
    assert "Hydrobiidae" in wrong.suggestions
    # Another mistake in a row with a known name is no reason to doubt the name.
    assert known.suggestions == []
    assert table.spare[0].suggestions == []
