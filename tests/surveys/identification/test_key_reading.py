"""A key that leads nowhere is refused, with a word for each thing that is wrong."""

from __future__ import annotations

import pytest

from surveys.identification import InvalidKey, load_key, read_key

SOURCES = '[book]\nshort = "A book"\ntext = "A book of 1990."\nstatus = "read"\n'


def step(id: str, *targets: str, sources: str = '["book"]') -> str:
    choices = "".join(f'[[steps.choices]]\ntext = "To {target}"\nto = "{target}"\n' for target in targets)
    return f'[[steps]]\nid = "{id}"\nquestion = "Which?"\nsources = {sources}\n{choices}'


def end(id: str, taxon: str = "Baetidae", *, sure: str = "tray", more: str = "") -> str:
    words = f'drawing = "mayfly"\nsure = "{sure}"\nmarks = "Gills."\nbeware = "Others."\n{more}'
    return f'[[ends]]\nid = "{id}"\ntaxon = "{taxon}"\n{words}\n'


SOUND = [step("start", "a", "b"), end("a"), end("b", "Caenidae")]


def problems(*parts: str, sources: str = SOURCES) -> list[str]:
    with pytest.raises(InvalidKey) as caught:
        read_key(parts, sources)
    return list(caught.value.problems)


def test_a_sound_key_is_read_from_several_files() -> None:
    key = read_key(SOUND, SOURCES)
    assert [choice.to for choice in key.steps["start"].choices] == ["a", "b"]
    assert [turn.step.id for turn in key.ways_to("b")[0]] == ["start"]
    assert key.sources["book"].short == "A book"


def test_the_key_of_this_release_is_sound() -> None:
    assert load_key() is load_key()
    assert len(load_key().steps) > 40


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ([step("start", "a", "nowhere"), end("a")], "step start leads to nowhere, which is missing"),
        ([step("start", "a"), end("a")], "step start asks nothing: it has fewer than two answers"),
        ([*SOUND, end("c", "Ephemeridae")], "no answer leads to c"),
        ([*SOUND, end("a")], "a stands twice"),
        (
            [step("start", "a", "b"), end("a"), end("b", "Mayfly")],
            "end b names Mayfly, which scoring does not know",
        ),
        (
            [step("start", "a", "b"), end("a"), end("b", "Nonsense")],
            "end b names Nonsense, which scoring does not know",
        ),
        (
            [step("start", "a", "b"), end("a"), end("b", more='also = ["Nonsense"]')],
            "end b names Nonsense, which scoring does not know",
        ),
        (
            [step("start", "a", "b"), end("a"), end("b", sure="guess")],
            "end b is sure by guess, which is none of tray, lens, microscope",
        ),
        ([step("start", "a", "b", sources="[]"), *SOUND[1:]], "step start names no source"),
        (
            [step("start", "a", "b", sources='["other"]'), *SOUND[1:]],
            "step start names the unknown source other",
        ),
        ([step("begin", "a", "b"), *SOUND[1:]], "there is no step start"),
    ],
)
def test_what_is_wrong_is_said(parts: list[str], expected: str) -> None:
    assert problems(*parts) == [expected]


def test_a_step_has_one_way_to_it() -> None:
    found = problems(step("start", "more", "more"), step("more", "a", "b"), *SOUND[1:])
    assert found == ["more is led to from 2 answers, not from one"]


def test_nothing_leads_back_to_the_first_step() -> None:
    found = problems(step("start", "more", "b"), step("more", "a", "start"), *SOUND[1:])
    assert found == ["start is led to from more: the first step has nothing before it"]


def test_a_circle_that_nothing_leads_into_is_found() -> None:
    found = problems(*SOUND, step("one", "two", "a"), step("two", "one", "b"))
    assert found == [
        "one lies in a circle that nothing leads into",
        "two lies in a circle that nothing leads into",
    ]


def test_a_step_that_nothing_leads_to_is_found() -> None:
    assert "more is led to from 0 answers, not from one" in problems(*SOUND, step("more", "a", "b"))


def test_a_source_says_how_far_it_was_read() -> None:
    assert problems(*SOUND, sources=SOURCES.replace('"read"', '"skimmed"')) == [
        "source book has the unknown status skimmed"
    ]


def test_every_problem_is_told_at_once() -> None:
    assert len(problems(step("start", "nowhere", sources="[]"), end("a", sure="guess"))) == 5
