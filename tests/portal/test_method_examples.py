"""The lines that a reader types on a method's page: read, scored, and every name accounted for."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.views.methods.examples import (
    FAMILIES,
    GROUPS,
    LONGEST_TEXT,
    MOST_ANIMALS,
    MOST_LINES,
    MOST_SUGGESTED,
    first_lines,
    ranges_in_words,
    read_lines,
    score_example,
)
from portal.views.methods.forms import ExampleForm
from scoring.indices import METHODS, score_sample
from scoring.samples import Count
from scoring.tables import read_table

FAMILY_NAMES = [row["taxon"] for row in read_table("bmwp")]
counts = st.builds(Count, st.sampled_from(FAMILY_NAMES), st.integers(0, 5000))
records = st.lists(counts, min_size=1, max_size=8, unique_by=lambda count: count.taxon)


def written(count: Count) -> str:
    """A count as somebody types it."""
    if count.low is not None:
        return f"{count.taxon},{count.low}-{count.high}" if count.high else f"{count.taxon},{count.low}+"
    return count.taxon if count.count is None else f"{count.taxon},{count.count}"


class TestLines:
    @given(st.text(max_size=200))
    def test_it_reads_any_text_without_an_error(self, text: str) -> None:
        found, problems = read_lines(text)
        lines = [line for line in text.splitlines() if line.strip()]
        # No line is lost: each is a count or a sentence, unless there are too many to be read at all.
        assert len(found) + len(problems) == len(lines) or len(lines) > MOST_LINES

    @given(records)
    def test_it_reads_back_what_was_written(self, recorded: list[Count]) -> None:
        assert read_lines("\n".join(map(written, recorded))) == (recorded, [])

    def test_it_takes_as_many_lines_as_it_says_and_no_more(self) -> None:
        assert len(read_lines("Baetidae,1\n" * MOST_LINES)[0]) == MOST_LINES
        assert read_lines("Baetidae,1\n" * (MOST_LINES + 1)) == ([], ["At most 60 lines, please."])

    def test_it_counts_empty_lines_when_it_names_a_line_and_not_as_lines(self) -> None:
        _found, problems = read_lines("\n\nBaetidae,x\n\nElmidae,y\n" + "\n" * 80)
        assert [problem.split(":")[0] for problem in problems] == ["Line 3", "Line 5"]

    @pytest.mark.parametrize(
        ("number", "is_read"),
        [(MOST_ANIMALS, True), (MOST_ANIMALS + 1, False), (0, True), ("٣", False), ("1_0", False)],
    )
    def test_it_takes_whole_numbers_up_to_a_million(self, number: int | str, is_read: bool) -> None:
        assert bool(read_lines(f"Baetidae,{number}")[0]) == is_read

    def test_it_tells_what_can_be_written_instead(self) -> None:
        (problem,) = read_lines("Baetidae,a few")[1]
        assert problem == "Line 1: “a few” is no count. Write 12, a range such as 10-99 or 1000+, or nothing."

    def test_it_writes_the_ranges_as_they_are_typed(self) -> None:
        assert ranges_in_words() == "1-9, 10-99, 100-999, 1000+"
        assert [count.low for count in read_lines("Baetidae,1000+\nElmidae,1-9")[0]] == [1000, 1]


class TestForm:
    def test_it_names_every_line_that_is_wrong_at_once(self) -> None:
        form = ExampleForm({"counts": "Baetidae,x\nElmidae,3\n,4"})
        assert not form.is_valid()
        assert [str(problem).split(":")[0] for problem in form.errors["counts"]] == ["Line 1", "Line 3"]

    def test_it_gives_the_counts_of_good_lines(self) -> None:
        form = ExampleForm({"counts": "Baetidae,3"})
        assert form.is_valid()
        assert form.cleaned_data["counts"] == [Count("Baetidae", 3)]

    def test_it_says_how_to_write_a_number(self) -> None:
        assert "a range (1-9, 10-99, 100-999, 1000+)" in ExampleForm().fields["counts"].help_text

    @pytest.mark.parametrize(("length", "is_valid"), [(LONGEST_TEXT, True), (LONGEST_TEXT + 1, False)])
    def test_it_takes_no_more_text_than_an_address_bears(self, length: int, is_valid: bool) -> None:
        assert ExampleForm({"counts": "B" * length}).is_valid() == is_valid

    def test_it_asks_for_a_line(self) -> None:
        assert ExampleForm({"counts": " "}).errors["counts"] == [
            "Write at least one line, for instance: Baetidae,12"
        ]


class TestExample:
    @pytest.mark.parametrize("key", METHODS)
    @given(recorded=records)
    def test_it_gives_the_score_that_a_visit_would_have(self, key: str, recorded: list[Count]) -> None:
        example, score = score_example(key, recorded), score_sample(recorded)[key]
        assert example.score == score
        expected = "" if score.value is None else f"{score.value:.{METHODS[key].decimals}f}"
        assert example.figure == expected

    @pytest.mark.parametrize("key", METHODS)
    def test_it_accounts_for_every_name(self, key: str) -> None:
        recorded = [Count("Baetidae", 3), Count("Physidae", 2), Count("Xyzzy", 1), Count("Asellidae", 0)]
        example = score_example(key, recorded)
        assert {each.name for each in example.left_out} == set(example.score.left_out)
        assert {each.name for each in example.names} | set(example.absent) == {each.taxon for each in recorded}

    @pytest.mark.parametrize("key", ["bmwp", "whpt", "epa_volunteer", "bankside"])
    def test_its_parts_add_up_to_the_score(self, key: str) -> None:
        example = score_example(key, read_lines(first_lines(key))[0])
        assert math.fsum(float(points) for _taxon, points in example.parts) == pytest.approx(
            example.score.value, abs=0.01
        )

    def test_it_writes_a_part_without_idle_noughts(self) -> None:
        parts = dict(score_example("whpt", [Count("Baetidae", 10), Count("Chironomidae", 100)]).parts)
        assert parts == {"Baetidae": "5.9", "Chironomidae": "-0.9"}

    def test_it_has_a_span_only_where_ranges_leave_more_than_one_value(self) -> None:
        ranged = [Count("Baetidae", low=10, high=99), Count("Perlidae", 5)]
        assert score_example("bmwp", ranged).span == ""
        assert score_example("fbi", ranged).span.count(" to ") == 1
        assert score_example("fbi", [Count("Baetidae", 12), Count("Elmidae", 5)]).span == ""

    @pytest.mark.parametrize(
        ("count", "words"),
        [
            (Count("Baetidae", 1200), "1,200"),
            (Count("Baetidae"), "not counted"),
            (Count("Baetidae", low=100, high=999), "100–999 (taken as 333)"),
            (Count("Baetidae", low=1000), "1,000+ (taken as 3,333)"),
        ],
    )
    def test_it_says_what_was_taken_for_a_number(self, count: Count, words: str) -> None:
        assert score_example("bmwp", [count]).names[0].number == words

    @pytest.mark.parametrize(
        ("name", "taken"),
        [("Baetis rhodani", "Baetidae (family)"), ("worms", "Oligochaeta (subclass)"), ("Xyzzy", "")],
    )
    def test_it_says_what_a_name_was_taken_for(self, name: str, taken: str) -> None:
        assert score_example("bmwp", [Count(name, 3)]).names[0].taken_for == taken

    def test_it_suggests_for_unknown_names_only_and_for_no_more_than_a_dozen(self) -> None:
        wrong = [Count(f"{name[:-3]}xyz", 1) for name in FAMILY_NAMES[:20]]
        names = score_example("bmwp", [*wrong, Count("Baetidae", 1)]).names
        assert {name.name: name.suggestions for name in names}["Baetidae"] == []
        assert 0 < sum(bool(name.suggestions) for name in names) <= MOST_SUGGESTED

    def test_it_says_that_a_score_is_not_defined_where_nothing_could_be_used(self) -> None:
        example = score_example("aspt", [Count("Hydracarina", 3)])
        assert example.figure == ""
        assert [each.why_left_out for each in example.left_out] == ["The score is not defined here."]

    def test_it_lists_what_was_looked_for_and_not_found_in_order(self) -> None:
        absent = [Count("Physidae", 0), Count("Asellidae", 0)]
        assert score_example("bmwp", [*absent, Count("Baetidae", 1)]).absent == ["Asellidae", "Physidae"]

    def test_it_joins_lines_of_one_name(self) -> None:
        example = score_example("fbi", [Count("Baetidae", 3), Count("baetidae", 4)])
        assert [(each.name, each.number) for each in example.names] == [("Baetidae", "7")]

    @pytest.mark.parametrize("key", METHODS)
    def test_it_starts_with_groups_where_a_method_scores_groups(self, key: str) -> None:
        assert first_lines(key) == (GROUPS if METHODS[key].level == "group" else FAMILIES)
