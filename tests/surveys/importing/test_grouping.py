"""Which rows make a visit, and what happens when they disagree."""

from __future__ import annotations

from uuid import UUID, uuid4

from hypothesis import given
from hypothesis import strategies as st

from surveys.importing.drafting import Draft
from surveys.importing.grouping import VisitRows, group_rows
from surveys.importing.reading import Row

GROUP = UUID("6f0e2a52-53d4-4d2c-8c31-0d2f6d3c1a10")


def row(number: int, **cells: str) -> Row:
    return Row(number, {"site": "AB1", "date": "2024-05-03"} | cells)


def only(*rows: Row) -> VisitRows:
    visits, problems = group_rows(rows)
    assert problems == []
    (visit,) = visits
    return visit


def test_it_joins_rows_whatever_the_case_of_the_site_and_the_visit() -> None:
    visit = only(row(2, visit="Morning"), row(3, site="ab1", visit="morning"))
    assert [each.number for each in visit.rows] == [2, 3]
    assert visit.first_row == 2


def test_it_joins_rows_that_stand_far_apart() -> None:
    visits, _problems = group_rows([row(2), row(3, date="2024-06-03"), row(4)])
    assert [[each.number for each in visit.rows] for visit in visits] == [[2, 4], [3]]


def test_it_keeps_rows_without_site_or_date_out_of_every_visit() -> None:
    visits, problems = group_rows(
        [Row(2, {"site": "AB1"}), Row(3, {"date": "2024-05-03"}), Row(4, {"notes": "x"})]
    )
    assert visits == []
    assert [(each.row, each.column) for each in problems] == [
        (2, "date"),
        (3, "site"),
        (4, "site"),
        (4, "date"),
    ]


def test_it_remembers_where_a_value_was_said_first() -> None:
    visit = only(row(2), row(3, ph="7.4"), row(4, ph="7.4"))
    assert (visit.values["ph"], visit.said_in["ph"], visit.problems) == ("7.4", 3, [])


def test_it_notes_each_row_that_contradicts_the_first() -> None:
    visit = only(row(2, ph="7.4", notes="calm"), row(3, ph="7.5"), row(4, ph="7.6", notes="calm"))
    assert [(each.row, each.column) for each in visit.problems] == [(3, "ph"), (4, "ph")]
    assert visit.values["ph"] == "7.4"


def test_it_takes_differing_counts_for_no_contradiction() -> None:
    visit = only(row(2, taxon="Baetidae", count="1"), row(3, taxon="Elmidae", count="2"))
    assert visit.problems == []


def test_it_numbers_a_visit_by_group_site_day_and_key() -> None:
    usual = only(row(2)).number(GROUP, "AB1")
    assert usual == only(row(9, taxon="Elmidae", ph="8")).number(GROUP, "AB1")
    others = {
        only(row(2)).number(uuid4(), "AB1"),
        only(row(2)).number(GROUP, "AB2"),
        only(row(2, date="2024-05-04")).number(GROUP, "AB1"),
        only(row(2, visit="evening")).number(GROUP, "AB1"),
    }
    assert usual not in others
    assert len(others) == 4


def test_it_never_changes_how_visits_are_numbered() -> None:
    # Sheets loaded years ago must be known again: this figure may not change with the code.
    assert only(row(2)).number(GROUP, "AB1") == UUID("26a7b8b3-ff3d-5568-a33d-0b9d0dcdbc89")


@given(st.lists(st.sampled_from(["AB1", "AB2"]), min_size=1), st.data())
def test_it_loses_no_row_and_doubles_none(sites: list[str], data: st.DataObject) -> None:
    days = st.sampled_from(["2024-05-03", "2024-06-03"])
    rows = [row(number, site=site, date=data.draw(days)) for number, site in enumerate(sites, start=2)]
    visits, problems = group_rows(rows)
    assert problems == []
    assert sorted(each.number for visit in visits for each in visit.rows) == [each.number for each in rows]
    assert len({visit.key for visit in visits}) == len(visits)


def test_a_draft_finds_the_cell_of_a_field_or_of_what_holds_it() -> None:
    draft = Draft({})
    draft.keep("spots", 2, "spot1_kicks")
    draft.keep("spots.1", 2, "spot1_kicks")
    draft.keep("spots.1.seconds", 3, "spot1_seconds")
    draft.keep("counts.Baetidae", 4, "count")
    assert draft.place("spots.1.seconds", 2) == (3, "spot1_seconds")
    assert draft.place("spots.1.depth_cm", 2) == (2, "spot1_kicks")
    assert draft.place("spots.7.kicks", 2) == (2, "spot1_kicks")
    assert draft.place("counts.baetidae", 2) == (4, "count")
    assert draft.place("visited_on", 5) == (5, "")


def test_a_draft_keeps_the_first_cell_of_a_field() -> None:
    draft = Draft({})
    draft.keep("counts.Baetidae", 4, "count")
    draft.keep("counts.Baetidae", 9, "count")
    assert draft.place("counts.Baetidae", 2) == (4, "count")
