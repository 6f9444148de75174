"""The score that a phone works out: the portal's own, for hundreds of random trays, or none at all."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from typing import Any
from uuid import UUID

import pytest
from playwright.sync_api import Page

from scoring.indices import METHODS, score_sample
from scoring.tables import read_table
from scoring.taxa import all_taxa, roll_up
from surveys.forms import data_from_post, read_entry
from surveys.models import Visit
from surveys.scores.judging import counts_of
from surveys.scores.provisional import provisional_for
from surveys.services.built_in_lists import family_rows
from surveys.submission import InvalidSubmission, Submission
from surveys.visits.sheets import printed
from tests.browser.checks import PageFor

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
FAMILIES = tuple(row["taxon"] for row in family_rows())
GROUPS = tuple(row["taxon"] for row in read_table("bankside"))
NUMBER = str(UUID(int=1))
RANGES = ["1-9", "10-99", "100-999", "1000+", "present"]
FRACTIONS = ["", "", "1/4", "6/30", "1/3", "7/9", "2/2"]
SAMPLES = 300

Row = dict[str, Any]
Tray = dict[str, Any]

SCORE = """async ([trays, tables]) => {
  const { Names, lineOf, problemOf, repeated, shareOf } = await import("/static/js/count-lines.js");
  const { printed, scoresOf } = await import("/static/js/provisional-score.js");
  const names = new Names(tables);
  const words = ({ value, low, high }, digits) => [value, low, high].map((each) => printed(each, digits));
  return trays.map(({ rows, fraction }) => {
    const problems = rows.map(problemOf).filter(Boolean);
    if (problems.length) return { problems };
    const lines = rows.map((row) => lineOf(row, names)).filter(Boolean);
    if (repeated(lines).length) return { problems: ["twice"] };
    const scores = scoresOf(lines, shareOf(fraction), tables);
    if (scores === null) return { problems: ["unknown"] };
    const shown = Object.entries(scores).map(([key, score]) => [key, words(score, tables.decimals[key])]);
    return { problems: [], scores: Object.fromEntries(shown) };
  });
}"""
FIND = """async ([texts, tables]) => {
  const { Names } = await import("/static/js/count-lines.js");
  const names = new Names(tables);
  return texts.map((text) => names.find(text)?.taxon ?? null);
}"""


@pytest.fixture
def page(page_for: PageFor) -> Page:
    opened = page_for()
    # Any page of the portal would do; this one needs no work of the server.
    opened.goto("/static/js/provisional-score.js")
    return opened


def amount(chance: random.Random) -> Row:
    """An exact number, a range, both in agreement, seen, or looked for and not found."""
    number = int(10 ** chance.uniform(0, 3.6))
    kind = chance.choice(["count", "count", "count", "range", "both", "none", "nought"])
    fitting = RANGES[len(str(number)) - 1]
    return {
        "count": {"count": str(number), "both": str(number), "nought": "0"}.get(kind, ""),
        "range": {"range": chance.choice(RANGES), "both": fitting}.get(kind, ""),
        "none": kind == "none",
        "key": kind == "count" and chance.random() < 0.2,
    }


def row(taxon: str, part: str, values: Row) -> Row:
    return {"taxon": taxon, "as": "", "part": part, "own": part != "counts", "whole": part == "whole", **values}


def tray(number: int, listed: Sequence[str]) -> Tray:
    """A random tray of a list: some of its rows, some names of one's own, some of the whole tray."""
    chance = random.Random(number)
    genera = [each["genus"] for each in read_table("genera")]
    english = [taxon.english for taxon in all_taxa() if taxon.english]
    named = [*chance.sample(genera, 2), f"{chance.choice(genera)} fluviatilis", chance.choice(english).upper()]
    chosen = sorted(chance.sample(listed, chance.randint(0, min(30, len(listed)))), key=listed.index)
    others = chance.sample(named, chance.randint(0, 3))
    fraction = chance.choice(FRACTIONS)
    whole = (
        chance.sample(["Perlidae", "Chironomidae", "Leeches"], chance.randint(0, 2)) if "/" in fraction else []
    )
    parts = {"counts": chosen, "other": others, "whole": whole}
    rows = [row(name, part, amount(chance)) for part, names in parts.items() for name in names]
    return {"rows": rows, "fraction": fraction}


def oddly(number: int, listed: Sequence[str]) -> Tray:
    """The same with one row as a slip of the thumb leaves it."""
    chance = random.Random(number)
    found = tray(number, listed)
    slip: Row = {"taxon": chance.choice([*listed, "Nobodyidae", "", "Baetis or Cloeon", "constructor"])}
    slip |= {"count": chance.choice(["", "0", "12", "a few", "-3", "2000000", "1.5"])}
    slip |= {"range": chance.choice(["", "", "10-99", "present"]), "none": chance.random() < 0.3}
    return found | {"rows": [*found["rows"], row("", "other", {"key": chance.random() < 0.2, **slip})]}


def posted(found: Tray) -> Iterator[tuple[str, str]]:
    """The fields as the form posts them."""
    yield "fraction_sorted", found["fraction"]
    for number, each in enumerate(found["rows"], start=1):
        name = f"counts-{each['taxon']}" if each["part"] == "counts" else f"{each['part']}-{number}"
        values = {"name": each["taxon"] if each["part"] != "counts" else "", **each}
        for part in ("name", "count", "range", "none", "key"):
            if values[part]:
                yield f"{name}-{part}", "on" if values[part] is True else values[part]


def read(found: Tray) -> Submission | None:
    """What the portal makes of it, None where it refuses."""
    data = data_from_post({"visited_on": "2026-05-03", "was_made": "yes", **dict(posted(found))})
    try:
        return read_entry(data, number=UUID(NUMBER), site=UUID(NUMBER))
    except InvalidSubmission:
        return None


def portal_scores(submission: Submission, indices: Mapping[str, int]) -> dict[str, list[str]]:
    visit = Visit(fraction_sorted=submission.fraction_sorted)
    scores = score_sample(counts_of(visit, submission.counts), only=indices)
    return {
        key: [printed(each, indices[key]) for each in (s.value, s.low, s.high)] for key, s in scores.items()
    }


@pytest.mark.parametrize("listed", [FAMILIES, GROUPS], ids=["families", "groups"])
def test_it_gives_the_scores_and_limits_of_the_portal(page: Page, listed: tuple[str, ...]) -> None:
    tables = provisional_for(listed).tables
    trays = [tray(number, listed) for number in range(SAMPLES)]
    answers = page.evaluate(SCORE, [trays, tables])
    limited = 0
    for found, answer in zip(trays, answers, strict=True):
        submission = read(found)
        # A name of one's own may repeat one of the list: then neither takes it.
        assert (submission is None) == bool(answer["problems"]), (found, answer)
        if submission:
            expected = portal_scores(submission, tables["decimals"])
            assert answer["scores"] == expected, found
            limited += any(low != "–" for _value, low, _high in expected.values())
    assert sum(not answer["problems"] for answer in answers) > SAMPLES * 0.9
    assert limited > SAMPLES / 3


def test_it_gives_no_score_that_the_portal_would_not_give(page: Page) -> None:
    tables = provisional_for(FAMILIES).tables
    trays = [oddly(number, FAMILIES) for number in range(SAMPLES)]
    answers = page.evaluate(SCORE, [trays, tables])
    given = [
        (found, answer["scores"])
        for found, answer in zip(trays, answers, strict=True)
        if not answer["problems"]
    ]
    for found, scores in given:
        submission = read(found)
        assert submission is not None, found
        assert scores == portal_scores(submission, tables["decimals"]), found
    assert 0 < len(given) < SAMPLES / 2


def test_it_knows_no_name_otherwise_than_the_portal(page: Page) -> None:
    texts = [
        name for taxon in all_taxa() for name in (taxon.name, taxon.english.title(), *taxon.synonyms) if name
    ]
    known = len(texts)
    texts += [each["genus"] for each in read_table("genera")]
    texts += [
        "Baetis rhodani",
        "Tubifex tubifex",
        "Baetis mayflies",
        "Baetis sp.",
        "Baetis or Cloeon",
        "Baetis larva",
    ]
    texts += [
        "Leeches",
        "mayflies",
        "waterlice",
        "Water lice",
        "Hydrobiidea",
        "Baetis ephemera",
        "  water   LOUSE ",
        "toString",
        "Ñame",
        "a b c",
        "genus",
    ]
    found = page.evaluate(FIND, [texts, provisional_for(FAMILIES).tables])
    assert [text for text, name in zip(texts[:known], found[:known], strict=True) if name is None] == []
    for text, name in zip(texts, found, strict=True):
        taxon = roll_up(text)
        assert name is None or (taxon is not None and taxon.name == name), text


def test_it_gives_no_score_for_what_is_no_share(page: Page) -> None:
    rows = [row("Baetidae", "counts", {"count": "3", "range": "", "none": False, "key": False})]
    trays = [{"rows": rows, "fraction": text} for text in ("5/4", "1:4", "0/4", "a quarter", "1/10000")]
    assert [read(each) for each in trays] == [None] * len(trays)
    answers = page.evaluate(SCORE, [trays, provisional_for(FAMILIES).tables])
    assert answers == [{"problems": ["unknown"]}] * len(trays)


def test_it_prints_numbers_as_the_portal_does(page: Page) -> None:
    chance = random.Random(1)
    numbers = [chance.uniform(-20, 20) for _ in range(300)] + [
        0.0,
        -0.0004,
        1e-9,
        0.125,
        2.5,
        -2.5,
        6.85,
        1e6,
        999.995,
    ]
    script = """async ([numbers]) => {
      const { printed } = await import("/static/js/provisional-score.js");
      return numbers.map((number) => [0, 1, 2].map((decimals) => printed(number, decimals)));
    }"""
    shown = page.evaluate(script, [numbers])
    assert shown == [[printed(number, decimals) for decimals in (0, 1, 2)] for number in numbers]


def test_the_script_knows_every_index_of_its_tables() -> None:
    assert set(provisional_for(FAMILIES).tables["decimals"]) <= set(METHODS)
