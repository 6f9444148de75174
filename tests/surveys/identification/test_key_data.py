"""The key of this release: every way ends, every end can be recorded, and nothing lies about unused."""

from __future__ import annotations

import pytest

from scoring.tables import read_table
from scoring.taxa import all_taxa, find_taxon, roll_up
from surveys.identification import End, Step, load_drawings, load_key
from surveys.services.built_in_lists import family_rows

KEY = load_key()
ENDS = [end for end in KEY.ends.values() if end.taxon]
MOST_STEPS = 6
# Families of the built-in list that the key leaves to a broader group, each for a reason.
NOT_PARTED = {
    "Libellulidae": "dragonfly_short",
    "Corduliidae": "dragonfly_short",
    "Mesoveliidae": "hemiptera",
    "Pleidae": "hemiptera",
    "Hygrobiidae": "coleoptera",
    "Clambidae": "coleoptera",
    "Chrysomelidae": "coleoptera",
    "Curculionidae": "coleoptera",
}


def named() -> set[str]:
    return {name for end in ENDS for name in end.lines}


@pytest.mark.parametrize("end", KEY.ends.values(), ids=lambda end: end.id)
def test_each_end_is_reached_in_a_few_steps(end: End) -> None:
    ways = KEY.ways_to(end.id)
    assert ways
    assert all(1 <= len(way) <= MOST_STEPS for way in ways)
    assert all(way[0].step.id == KEY.first for way in ways)


@pytest.mark.parametrize("step", KEY.steps.values(), ids=lambda step: step.id)
def test_each_step_is_reached_by_one_way_and_leads_on(step: Step) -> None:
    assert len(KEY.ways_to(step.id)) == 1
    assert 2 <= len(step.choices) <= 7
    assert all(choice.to in KEY.steps or choice.to in KEY.ends for choice in step.choices)


def test_whoever_cannot_tell_is_led_to_the_group_that_all_other_answers_share() -> None:
    for step in KEY.steps.values():
        unsure = next((choice for choice in step.choices if choice.unsure), None)
        if unsure is None or unsure.to == "doubt":
            continue
        group = KEY.ends[unsure.to].taxon
        # A step inside the group: none of its other answers may lead out of it.
        led_to = [KEY.ends[choice.to] for choice in step.choices if choice.to in KEY.ends]
        assert all(group in end.lines for end in led_to), step.id


@pytest.mark.parametrize("end", ENDS, ids=lambda end: end.id)
def test_each_end_names_a_taxon_that_scoring_knows(end: End) -> None:
    assert end.found is not None
    assert end.found.name == end.taxon
    assert end.found.english
    assert end.lines[0] == end.taxon
    assert all(roll_up(name) is not None for name in end.lines)


def test_only_one_end_names_nothing() -> None:
    assert [end.id for end in KEY.ends.values() if not end.taxon] == ["doubt"]


def test_every_end_has_a_broader_group_unless_it_is_the_broadest() -> None:
    for end in ENDS:
        found = find_taxon(end.taxon)
        assert found is not None
        assert (end.broader is None) == (not found.parent), end.id


@pytest.mark.parametrize("taxon", [row["taxon"] for row in read_table("bankside")])
def test_every_group_of_the_bankside_list_is_reached(taxon: str) -> None:
    assert [end for end in ENDS if taxon in end.lines]


def test_every_family_of_the_built_in_list_is_reached_or_left_to_a_broader_group_knowingly() -> None:
    missing = {row["taxon"] for row in family_rows()} - named()
    assert missing == set(NOT_PARTED)
    for family, end in NOT_PARTED.items():
        assert family in KEY.ends[end].narrower


def test_a_list_without_the_group_learns_which_of_its_lines_may_be_meant() -> None:
    assert set(KEY.ends["tricladida"].narrower) == {"Planariidae", "Dugesiidae", "Dendrocoelidae"}
    assert KEY.ends["dragonfly_short"].narrower == ("Libellulidae", "Corduliidae")
    assert "Baetidae" in KEY.ends["ephemeroptera"].narrower
    assert KEY.ends["baetidae"].narrower == ()


@pytest.mark.parametrize(
    ("end", "lines"),
    [
        ("hydropsychidae", ("Hydropsychidae", "Trichoptera (caseless)", "Trichoptera")),
        ("elmidae_larva", ("Elmidae (larva)", "Elmidae", "Coleoptera (larva)", "Coleoptera")),
        ("chironomidae_red", ("Chironomidae (blood-red)", "Chironomidae", "Diptera")),
        ("oligochaeta", ("Oligochaeta",)),
        ("doubt", ()),
    ],
)
def test_the_lines_to_record_under_run_from_the_narrowest_to_the_widest(
    end: str, lines: tuple[str, ...]
) -> None:
    assert KEY.ends[end].lines == lines


def test_what_may_hurt_an_animal_or_spread_an_invader_is_said() -> None:
    assert "licence" in KEY.ends["astacidae"].care
    assert "protected" in KEY.ends["unionidae"].care
    assert "clean and dry" in KEY.ends["dreissenidae"].care
    assert "clean and dry" in KEY.ends["gammaridae"].care


def test_every_source_is_named_by_a_step() -> None:
    used = {name for step in KEY.steps.values() for name in step.sources}
    assert used == set(KEY.sources)


def test_every_drawing_exists_and_is_used() -> None:
    beside = {KEY.drawing_of(choice) for step in KEY.steps.values() for choice in step.choices}
    used = (beside | {end.drawing for end in KEY.ends.values()}) - {""}
    assert used == set(load_drawings())
    assert len(used) >= 25


def test_no_two_answers_of_a_step_show_the_same_drawing() -> None:
    for step in KEY.steps.values():
        shown = [name for choice in step.choices if (name := KEY.drawing_of(choice))]
        assert len(set(shown)) == len(shown), step.id


def test_an_answer_of_doubt_shows_no_animal() -> None:
    unsure = [choice for step in KEY.steps.values() for choice in step.choices if choice.unsure]
    assert len(unsure) > 20
    assert {KEY.drawing_of(choice) for choice in unsure} == {""}
    told = {
        choice.text for step in KEY.steps.values() for choice in step.choices if "cannot tell" in choice.text
    }
    assert told == {choice.text for choice in unsure}


def test_nobody_is_made_to_choose() -> None:
    # Where the last answer is "any other", that one is the way out.
    forced = {step.id for step in KEY.steps.values() if not any(choice.unsure for choice in step.choices)}
    assert forced == {"midge"}


def test_the_parts_come_once_each_beginning_with_the_first_question() -> None:
    parts = [part.id for part in KEY.in_order()]
    assert parts[0] == "start"
    assert sorted(parts) == sorted([*KEY.steps, *KEY.ends])


def test_every_taxon_with_narrower_ones_is_one_of_the_table() -> None:
    names = {taxon.name for taxon in all_taxa()}
    assert all(set(end.narrower) <= names for end in ENDS)
