"""The published tables as they stand on the pages of the methods, held to the packaged files."""

from __future__ import annotations

import pytest

from portal.views.methods.groups import method_groups
from portal.views.methods.tables import FROM_MEMORY, ShownTable, tables_of
from scoring.indices import METHODS
from scoring.indices.bankside import weights
from scoring.indices.ept import EPT_ORDERS
from scoring.indices.fbi import fbi_class
from scoring.tables import read_table

WITH_TABLES = [key for key in METHODS if key not in ("richness",)]


def column(table: ShownTable, heading: str) -> list[str]:
    at = [each.label for each in table.headings].index(heading)
    return [row[at] for row in table.rows]


def is_figure(cell: str) -> bool:
    """Whether a cell stands for a number: a figure, a range or a limit in words."""
    return any(sign.isdigit() for sign in cell) or cell == "–"


@pytest.mark.parametrize("key", WITH_TABLES)
class TestEvery:
    def test_it_has_a_cell_under_every_heading(self, key: str) -> None:
        for table in tables_of(key):
            assert table.rows
            assert {len(row) for row in table.rows} == {len(table.headings)}

    def test_it_names_no_column_twice_and_shows_no_empty_one(self, key: str) -> None:
        for table in tables_of(key):
            labels = [heading.label for heading in table.headings]
            assert len(labels) == len(set(labels))
            assert [label for label in labels if set(column(table, label)) == {"–"}] == []

    def test_it_sets_figures_only_under_headings_of_figures(self, key: str) -> None:
        for table in tables_of(key):
            for heading in table.headings:
                if heading.numeric:
                    assert [cell for cell in column(table, heading.label) if not is_figure(cell)] == []

    def test_it_says_how_far_each_row_is_verified(self, key: str) -> None:
        for table in tables_of(key):
            statuses = column(table, "How far verified")
            assert sum(number for _status, number in table.statuses) == len(statuses)
            assert dict(table.statuses) == {status: statuses.count(status) for status in statuses}
            assert table.from_memory == sum(FROM_MEMORY in status for status in statuses)

    def test_it_names_each_source_once(self, key: str) -> None:
        for table in tables_of(key):
            assert table.sources
            assert len(table.sources) == len(set(table.sources))

    def test_it_puts_the_most_frequent_status_first(self, key: str) -> None:
        for table in tables_of(key):
            numbers = [number for _status, number in table.statuses]
            assert numbers == sorted(numbers, reverse=True)


class TestFigures:
    @pytest.mark.parametrize(
        ("key", "table", "shown", "stored"),
        [
            ("bmwp", "bmwp", "Score", "score"),
            ("fbi", "fbi", "Tolerance", "tolerance"),
            ("whpt", "whpt", "1–9", "from_1"),
            ("whpt", "whpt", "10–99", "from_10"),
            ("whpt", "whpt", "100–999", "from_100"),
            ("whpt", "whpt", "1,000+", "from_1000"),
        ],
    )
    def test_it_shows_the_figures_of_the_file_row_by_row(
        self, key: str, table: str, shown: str, stored: str
    ) -> None:
        assert column(tables_of(key)[0], shown) == [row[stored] for row in read_table(table)]

    def test_it_does_not_show_the_presence_only_values_that_are_missing(self) -> None:
        labels = [heading.label for heading in tables_of("whpt")[0].headings]
        assert [label for label in labels if "resence" in label] == []

    def test_it_classes_a_value_as_the_shown_limits_say(self) -> None:
        classes = tables_of("fbi")[1]
        for row in classes.rows:
            figures = [cell for cell in row if cell.replace(".", "").isdigit()]
            assert {fbi_class(float(figure)) for figure in figures} <= set(row)

    def test_it_writes_a_limit_that_is_not_reached_at_itself_in_words(self) -> None:
        bands = tables_of("epa_volunteer")[2]
        assert column(bands, "Score") == ["more than 40", "20 and more", "0 and more"]

    def test_it_writes_ranges_with_their_number(self) -> None:
        ranges = tables_of("shannon")[0]
        assert column(ranges, "Range recorded") == ["1–9", "10–99", "100–999", "1,000+"]
        assert column(ranges, "Number taken") == ["3", "33", "333", "3333"]

    def test_it_shows_the_weights_that_are_scored_with(self) -> None:
        table = tables_of("bankside")[0]
        taxa = [row["taxon"] for row in read_table("bankside")]
        assert [float(cell) for cell in column(table, "Weight")] == [
            pytest.approx(weights()[taxon], abs=0.0005) for taxon in taxa
        ]

    def test_it_shows_the_table_that_the_weights_come_from(self) -> None:
        assert len(tables_of("bankside")[1].rows) == len(read_table("bmwp"))

    def test_it_lists_the_families_of_the_three_orders_by_order_and_name(self) -> None:
        table = tables_of("ept_families")[0]
        pairs = list(zip(column(table, "Order"), column(table, "Family"), strict=True))
        known = {
            row["name"] for row in read_table("taxa") if row["rank"] == "family" and row["order"] in EPT_ORDERS
        }
        assert pairs == sorted(pairs)
        assert {family for _order, family in pairs} == known

    @pytest.mark.parametrize("key", ["whpt_ntaxa", "whpt_aspt"])
    def test_it_shows_the_status_limits_where_a_ratio_can_be_formed(self, key: str) -> None:
        limits = tables_of(key)[1]
        assert column(limits, "Status class") == ["High", "Good", "Moderate", "Poor", "Bad"]
        assert column(limits, "Mean: observed / expected, from")[:2] == ["0.97", "0.86"]
        assert limits.from_memory == 5

    def test_a_total_has_no_status_limits(self) -> None:
        assert len(tables_of("whpt")) == 1

    @pytest.mark.parametrize(
        ("one", "other"), [("bmwp", "aspt"), ("ntaxa", "bmwp"), ("whpt_ntaxa", "whpt_aspt")]
    )
    def test_methods_of_one_table_show_the_same_rows(self, one: str, other: str) -> None:
        assert [table.rows for table in tables_of(one)] == [table.rows for table in tables_of(other)]


class TestGroups:
    def test_each_group_says_what_its_methods_have_in_common(self) -> None:
        titles = [str(group.title) for group in method_groups()]
        assert len(titles) == len(set(titles)) == 4
        assert all(str(group.explains).endswith(".") for group in method_groups())

    def test_no_method_stands_in_two_groups(self) -> None:
        keys = [method.key for group in method_groups() for method in group.methods]
        assert len(keys) == len(set(keys)) == len(METHODS)

    def test_a_method_that_is_gone_leaves_no_gap(self, monkeypatch: pytest.MonkeyPatch) -> None:
        left = {key: method for key, method in METHODS.items() if key != "fbi"}
        monkeypatch.setattr("portal.views.methods.groups.METHODS", left)
        assert "fbi" not in [method.key for group in method_groups() for method in group.methods]
