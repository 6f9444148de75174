"""The tables that a phone scores with: values and places as the indices have them, and small."""

from __future__ import annotations

import gzip
import json

import pytest

from scoring.indices import METHODS, bankside, bmwp, whpt
from scoring.indices.ept import ept_family
from scoring.indices.grouping import place_in_table
from scoring.provisional import TABLE_OF, Table, provisional_tables
from scoring.taxa import all_taxa, find_taxon, roll_up

LARGEST = 12_000


def place(table: Table, name: str) -> str:
    """Where the script puts a taxon."""
    return str(table["joined"].get(name, name if name in table["values"] else ""))


@pytest.mark.parametrize("table", ["bmwp", "whpt", "bankside"])
def test_every_taxon_is_scored_as_the_index_scores_it(table: str) -> None:
    found = provisional_tables(TABLE_OF)["tables"][table]
    expected = place_in_table(table)
    assert {each.name: place(found, each.name) for each in all_taxa()} == {
        each.name: expected(each) for each in all_taxa()
    }


def test_families_of_the_three_orders_are_those_of_the_index() -> None:
    table = provisional_tables(["ept_families"])["tables"]["ept"]
    assert {each.name: place(table, each.name) for each in all_taxa()} == {
        each.name: ept_family(each) for each in all_taxa()
    }


def test_the_values_are_those_of_the_indices() -> None:
    tables = provisional_tables(TABLE_OF)["tables"]
    assert tables["bmwp"]["values"] == bmwp.points()
    assert tables["whpt"]["values"] == whpt.range_values()
    assert tables["bankside"]["values"] == bankside.weights()


def test_every_name_leads_to_its_taxon() -> None:
    tables = provisional_tables(TABLE_OF)
    for taxon, names in tables["taxa"].items():
        assert all(find_taxon(name).name == taxon for name in names)  # type: ignore[union-attr]
    for family, names in tables["genera"].items():
        assert all(roll_up(name).name == family for name in names)  # type: ignore[union-attr]


def test_it_gives_what_was_asked_for_in_that_order() -> None:
    tables = provisional_tables(["whpt", "shannon", "bmwp", "aspt"])
    assert list(tables["decimals"]) == ["whpt", "bmwp", "aspt"]
    assert list(tables["tables"]) == ["whpt", "bmwp"]
    assert tables["decimals"]["aspt"] == METHODS["aspt"].decimals


def test_it_is_data_and_small() -> None:
    text = json.dumps(provisional_tables(TABLE_OF))
    assert json.loads(text)["ranges"] == [[1, 9, 3], [10, 99, 33], [100, 999, 333], [1000, None, 3333]]
    assert len(gzip.compress(text.encode())) < LARGEST
