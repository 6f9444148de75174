"""The pages of the scoring methods: table, verification and a score worked out while one looks."""

from __future__ import annotations

import csv
from importlib.resources import files

import pytest
from django.test import Client
from django.urls import reverse

from portal.views.methods.examples import first_lines, read_lines, score_example
from portal.views.methods.groups import method_groups
from portal.views.methods.tables import tables_of
from scoring.indices import METHODS
from scoring.samples import Count

TABLES = {
    "bmwp": ("bmwp", 85),
    "aspt": ("bmwp", 85),
    "whpt": ("whpt", 106),
    "fbi": ("fbi", 70),
    "epa_volunteer": ("epa_taxa", 23),
    "bankside": ("bankside", 6),
}


def page_of(client: Client, key: str, status: int = 200, **query: str) -> str:
    answer = client.get(reverse("method_detail", args=[key]), query)
    assert answer.status_code == status
    return answer.content.decode()


def rows_of(table: str) -> list[dict[str, str]]:
    text = files("scoring.tables").joinpath(f"{table}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def names_left_out(key: str, *counts: Count) -> dict[str, str]:
    return {each.name: each.why_left_out for each in score_example(key, counts).left_out}


def test_it_puts_every_method_into_one_group() -> None:
    keys = [method.key for group in method_groups() for method in group.methods]
    assert sorted(keys) == sorted(METHODS)


def test_it_hides_no_method_that_has_no_group_yet(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("portal.views.methods.groups.METHODS", {**METHODS, "new": METHODS["bmwp"]})
    assert [method.name for method in method_groups()[-1].methods] == ["BMWP"]
    assert str(method_groups()[-1].title) == "Others"


def test_the_index_leads_to_every_method(client: Client) -> None:
    page = client.get("/methods/").content.decode()
    assert [key for key in METHODS if f'href="/methods/{key}/"' not in page] == []


@pytest.mark.parametrize("key", METHODS)
def test_each_page_tells_all_that_is_known_of_its_method(client: Client, key: str) -> None:
    from django.utils.html import escape

    method, page = METHODS[key], page_of(client, key)
    told = [
        method.title,
        method.version,
        method.formula,
        method.level,
        method.responds_to,
        method.limits,
        method.source,
        method.verified,
    ]
    assert [words for words in told if escape(words) not in page] == []


def test_it_costs_no_query(client: Client, django_assert_num_queries: object) -> None:
    """Without the database mark any query fails; this test has none."""
    assert "Heptageniidae" in page_of(client, "bmwp")


@pytest.mark.parametrize(("key", "table", "rows"), [(key, *told) for key, told in TABLES.items()])
def test_it_shows_every_row_of_the_table_with_its_own_status(key: str, table: str, rows: int) -> None:
    shown = tables_of(key)[0]
    stored = rows_of(table)
    assert len(shown.rows) == len(stored) == rows
    at = [heading.label for heading in shown.headings].index("How far verified")
    assert [row[at] for row in shown.rows] == [row["status"] for row in stored]
    assert sum(number for _status, number in shown.statuses) == rows
    assert set(shown.sources) == {row["source"] for row in stored}


def test_it_shows_the_values_as_the_table_has_them() -> None:
    whpt = {row[0]: row[1:5] for row in tables_of("whpt")[0].rows}
    assert whpt["Dugesiidae"] == ["2.8", "3.1", "3.1", "3.1"]
    bmwp = {row[0]: row[1] for row in tables_of("bmwp")[0].rows}
    assert (bmwp["Heptageniidae"], bmwp["Baetidae"]) == ("10", "4")


def test_it_works_out_the_weights_of_the_bankside_score() -> None:
    """As the method's own formula tells them."""
    weights = {row[0]: float(row[2]) for row in tables_of("bankside")[0].rows}
    assert sorted(weights.values()) == [-4.5, -3.5, -2.25, 3.125, 3.375, 4.071]
    assert all(f"{weight:g}" in METHODS["bankside"].formula for weight in weights.values())


def test_it_counts_rows_from_memory_and_says_so(client: Client) -> None:
    assert [table.from_memory for table in tables_of("epa_volunteer")] == [23, 9, 3]
    assert "5 of 85 rows have parts written down from memory" in page_of(client, "bmwp")
    assert "106 of 106 rows" in page_of(client, "whpt_aspt")


def test_it_lists_only_families_of_the_three_orders() -> None:
    table = tables_of("ept_families")[0]
    orders = {row[1] for row in table.rows}
    assert orders == {"Ephemeroptera", "Plecoptera", "Trichoptera"}
    assert len(table.rows) > 30


def test_a_formula_alone_has_no_table() -> None:
    assert tables_of("richness") == []


def test_an_unknown_method_is_not_found(client: Client) -> None:
    page_of(client, "nonsense", status=404)
    assert client.get("/methods/rules/").status_code == 200


def test_it_scores_what_was_typed(client: Client) -> None:
    """BMWP 10 (Heptageniidae) + 4 (Baetidae) + 2 (Chironomidae): scores as in tables/bmwp.csv."""
    page = page_of(client, "bmwp", counts="Heptageniidae,3\nBaetis rhodani,40\nChironomidae,10-99")
    assert "16 <small>points" in page
    assert '<th scope="row">Heptageniidae</th><td class="number">10</td>' in page
    assert "Baetidae (family)" in page


def test_it_leaves_out_an_unknown_name_and_suggests() -> None:
    example = score_example("bmwp", [Count("Hydropsychida", count=4), Count("Baetidae", count=2)])
    assert example.figure == "4"
    (left_out,) = example.left_out
    assert left_out.name == "Hydropsychida"
    assert "Hydropsychidae" in left_out.suggestions
    assert "nothing is guessed" in left_out.why_left_out


def test_it_tells_a_known_taxon_without_a_value_from_an_unknown_name() -> None:
    why = names_left_out("fbi", Count("Physidae", count=3), Count("Baetidae", count=3), Count("Xyzzy", count=1))
    assert why["Physidae"] == "Known, but this method has no value for it."
    assert "No table knows" in why["Xyzzy"]
    assert "Baetidae" not in why


def test_it_says_why_there_is_no_score(client: Client) -> None:
    page = page_of(client, "whpt", counts="Baetidae\nElmidae,5")
    assert "The number of animals was not recorded for: Baetidae." in page
    assert "It would lie between these:" in page
    assert "not counted" in page


def test_it_shows_what_ranges_leave_open() -> None:
    example = score_example("shannon", [Count("Baetidae", low=10, high=99), Count("Elmidae", count=20)])
    low, high = map(float, example.span.split(" to "))
    assert low < float(example.figure) < high
    assert example.names[0].number == "10–99 (taken as 33)"


def test_it_names_what_was_looked_for_and_not_found() -> None:
    example = score_example("bmwp", [Count("Asellidae", count=0), Count("Baetidae", count=1)])
    assert (example.absent, example.figure) == (["Asellidae"], "4")


def test_it_gives_a_class_where_the_method_has_one(client: Client) -> None:
    page = page_of(client, "fbi", counts="Perlidae,10")
    assert "excellent" in page


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("Baetidae,12", Count("Baetidae", count=12)),
        ("  Baetidae ,  0 ", Count("Baetidae", count=0)),
        ("Baetidae", Count("Baetidae")),
        ("Baetidae,", Count("Baetidae")),
        ("Baetidae,10-99", Count("Baetidae", low=10, high=99)),
        ("Baetidae,10 – 99", Count("Baetidae", low=10, high=99)),
        ("Baetidae,1,000+", Count("Baetidae", low=1000)),
        ("Baetidae,1,200", Count("Baetidae", count=1200)),
    ],
)
def test_it_reads_a_line(line: str, expected: Count) -> None:
    assert read_lines(line) == ([expected], [])


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (",12", "the name is missing"),
        ("Baetidae,many", "is no count"),
        ("Baetidae,-3", "is no count"),
        ("Baetidae,1.5", "is no count"),
        ("Baetidae,²", "is no count"),
        ("Baetidae,99999999999", "is no count"),
        ("Baetidae,0-9", "the range must start at 1"),
        ("Baetidae,99-10", "the range must start at 1"),
    ],
)
def test_it_refuses_a_line_in_words_and_names_it(line: str, words: str) -> None:
    counts, problems = read_lines(f"Elmidae,3\n\n{line}")
    assert [count.taxon for count in counts] == ["Elmidae"]
    assert len(problems) == 1
    assert problems[0].startswith("Line 3: ")
    assert words in problems[0]


def test_a_mistake_stands_at_the_field_and_nothing_typed_is_lost(client: Client) -> None:
    page = page_of(client, "bmwp", 422, counts="Baetidae,many\nElmidae,3")
    assert "Line 1:" in page
    assert "Baetidae,many\nElmidae,3</textarea>" in page
    assert "How each name was read" not in page


@pytest.mark.parametrize("counts", ["", "   \n ", "Baetidae,1\n" * 61, "x" * 1501])
def test_it_refuses_nothing_at_all_and_far_too_much(client: Client, counts: str) -> None:
    page = page_of(client, "bmwp", 422, counts=counts)
    assert "error-summary" in page
    assert "How each name was read" not in page


def test_what_was_typed_is_shown_as_text(client: Client) -> None:
    page = page_of(client, "bmwp", counts="<script>alert(1)</script>,3")
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


@pytest.mark.parametrize("key", METHODS)
def test_each_page_starts_with_an_example_that_has_a_score(client: Client, key: str) -> None:
    counts, problems = read_lines(first_lines(key))
    assert problems == []
    assert score_example(key, counts).figure
    assert "How each name was read" in page_of(client, key)


def test_the_first_example_shows_a_name_that_is_left_out(client: Client) -> None:
    assert "Did you mean: Hydropsychidae" in page_of(client, "bmwp")
    assert "water snale" in page_of(client, "bankside")
