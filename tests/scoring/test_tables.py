"""The packaged tables hold together: every row has a source and a status, every name leads somewhere."""

from importlib.resources import files

import pytest

from scoring.tables import read_table, split_names
from scoring.taxa import name_key

TABLES = (
    "bmwp",
    "whpt",
    "fbi",
    "fbi_classes",
    "ranges",
    "epa_taxa",
    "epa_weights",
    "epa_bands",
    "status_limits",
    "taxa",
    "genera",
)


@pytest.mark.parametrize("table", TABLES)
def test_it_names_source_and_status_in_every_row(table: str) -> None:
    assert read_table(table)
    for row in read_table(table):
        assert row["source"].strip(), row
        assert any(word in row["status"] for word in ("verified", "single source", "from memory")), row


@pytest.mark.parametrize("table", TABLES)
def test_it_tells_every_table_in_the_sources(table: str) -> None:
    sources = files("scoring.tables").joinpath("SOURCES.md").read_text(encoding="utf-8")
    assert f"{table}.csv" in sources


@pytest.mark.parametrize("table", TABLES)
def test_it_has_no_row_with_missing_or_spare_cells(table: str) -> None:
    for row in read_table(table):
        assert None not in row
        assert None not in row.values()


@pytest.mark.parametrize(("table", "column"), [("bmwp", "taxon"), ("whpt", "taxon"), ("fbi", "taxon")])
def test_it_scores_no_taxon_twice(table: str, column: str) -> None:
    rows = read_table(table)
    names = [name for row in rows for name in (row[column], *split_names(row["includes"]))]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("table", ["bmwp", "whpt", "fbi"])
def test_it_knows_every_scored_taxon_by_name_and_in_the_same_order(table: str) -> None:
    orders = {row["name"]: row["order"] for row in read_table("taxa")}
    known_group = {"Chironomidae (blood-red)"}
    for row in read_table(table):
        assert row["taxon"] in orders.keys() | known_group
        assert orders[row["taxon"]] == row["order"]
        assert orders.keys() >= set(split_names(row["includes"]))


def test_it_knows_every_latin_name_of_the_volunteer_rating() -> None:
    names = {row["name"] for row in read_table("taxa")}
    for row in read_table("epa_taxa"):
        assert names >= set(split_names(row["counted_as"])), row["item"]


def test_it_gives_each_genus_a_known_family() -> None:
    names = {row["name"] for row in read_table("taxa")}
    assert not {row["family"] for row in read_table("genera")} - names


def test_it_gives_each_taxon_a_known_parent() -> None:
    names = {row["name"] for row in read_table("taxa")}
    assert not {row["parent"] for row in read_table("taxa")} - names - {""}


def test_it_gives_no_name_to_two_taxa() -> None:
    owners: dict[str, str] = {}
    for row in read_table("taxa"):
        for name in (row["name"], *split_names(row["english"]), *split_names(row["synonyms"])):
            assert owners.setdefault(name_key(name), row["name"]) == row["name"], name


def test_it_gives_no_genus_name_to_two_families() -> None:
    owners: dict[str, str] = {}
    for row in read_table("genera"):
        for name in (row["genus"], *split_names(row["synonyms"])):
            assert name_key(name) not in owners, name
            owners[name_key(name)] = row["family"]


def test_it_says_that_it_does_not_know_a_table() -> None:
    with pytest.raises(FileNotFoundError):
        read_table("nothing")


def test_it_parts_names_at_semicolons() -> None:
    assert split_names(" Crangonyctidae; Niphargidae ;") == ("Crangonyctidae", "Niphargidae")
    assert split_names("") == ()
