"""The table of rules holds, and it would notice: a rule taken out or a limit moved turns a row red."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from importlib import import_module
from typing import Any

import pytest

from surveys.measuring import quantities
from surveys.measuring.quantities import QUANTITIES
from surveys.rules import RULES, Context, check_submission
from surveys.rules.hints import usual_at_site
from surveys.submission import InvalidSubmission, Submission, parse_submission
from tests.factories import data_for
from tests.surveys.rules.table import CHECKED, MOSTLY, POSSIBLE, Row
from tests.surveys.rules.table_reading import READ

# Refused by the service, which alone knows whose site it is: see tests/surveys/visits/test_submit.py.
OF_THE_SERVICE = {"unknown_site"}


def speaks(row: Row) -> bool:
    """Whether the row's rule has something to say of its record."""
    try:
        said = check_submission(_read(row), row.context)
    except InvalidSubmission as refusal:
        return any(each.rule == row.rule for each in refusal.problems)
    return any(each.rule == row.rule for each in (*said.errors, *said.findings))


_already_read: dict[int, Submission] = {}


def _read(row: Row) -> Submission:
    """Read once: no limit that the tests below move has a part in the reading."""
    if id(row) not in _already_read:
        data = data_for(row.context.site, **{"visited_on": "2026-06-14", **row.changes})
        _already_read[id(row)] = parse_submission(data)
    return _already_read[id(row)]


def red(rows: Iterable[Row]) -> list[Row]:
    """The rows that do not hold."""
    return [row for row in rows if speaks(row) != row.speaks]


@pytest.mark.parametrize("row", [*CHECKED, *READ], ids=str)
def test_it_speaks_of_this_and_of_nothing_less(row: Row) -> None:
    assert speaks(row) == row.speaks


def test_it_has_a_passing_and_a_failing_record_for_every_rule() -> None:
    sides: dict[str, set[bool]] = defaultdict(set)
    for row in (*CHECKED, *READ):
        sides[row.rule].add(row.speaks)
    assert set(sides) | OF_THE_SERVICE == {rule.id for rule in RULES}
    assert {rule for rule, seen in sides.items() if seen != {True, False}} == set()


def test_it_tells_checks_from_reading() -> None:
    checks = {rule.id for rule in RULES if rule.check}
    assert {row.rule for row in CHECKED} == checks
    assert not {row.rule for row in READ} & checks


def _never(submission: Submission, context: Context) -> Iterable[tuple[str, str]]:
    return ()


def _always(submission: Submission, context: Context) -> Iterable[tuple[str, str]]:
    return [("notes", "Something.")]


@pytest.mark.parametrize("check", [_never, _always])
@pytest.mark.parametrize("rule_id", sorted({row.rule for row in CHECKED}))
def test_it_notices_a_rule_that_is_disabled_or_runs_wild(
    rule_id: str, check: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    changed = tuple(replace(rule, check=check) if rule.id == rule_id else rule for rule in RULES)
    monkeypatch.setattr("surveys.rules.RULES", changed)
    wrong = red(CHECKED)
    assert wrong
    assert {row.rule for row in wrong} == {rule_id}


LIMITS: tuple[tuple[str, str, Any], ...] = (
    ("kicking", "LONGEST_KICK", 1),
    ("kicking", "DEEPEST_CM", 1),
    ("kicking", "DEEP_CM", 1),
    ("counting", "TIMES_THE_MOST", 1),
    ("counting", "VISITS_TO_KNOW_A_SITE", 1),
    ("measured", "SATURATION_DISAGREES", 1),
    ("measured", "READINGS_NEEDED", 1),
    ("hints", "SPREADS_ALLOWED", 1),
    ("past", "FINDS_TO_KNOW_A_SEASON", 1),
    ("past", "VISITS_IN_THE_SEASON", 1),
    ("past", "SCORES_NEEDED", 1),
    ("past", "LEAST_SPREAD", 0.05),
)


@pytest.mark.parametrize("step", [1, -1])
@pytest.mark.parametrize(("module", "name", "size"), LIMITS)
def test_it_notices_a_limit_that_moves(
    module: str, name: str, size: Any, step: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = import_module(f"surveys.rules.{module}")
    monkeypatch.setattr(place, name, getattr(place, name) + step * size)
    # What is usual is kept for the limits that the portal runs with.
    usual_at_site.cache_clear()
    try:
        assert red(CHECKED)
    finally:
        usual_at_site.cache_clear()


@pytest.mark.parametrize("tolerance", ["0.09", "0.11"])
def test_it_notices_another_tolerance_of_effort(tolerance: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("surveys.visits.effort.TOLERANCE", Decimal(tolerance))
    kept_to = {"effort_off_plan", "timed_otherwise", "timed_off_plan"}
    assert {row.rule for row in red(CHECKED)} == kept_to


@pytest.mark.parametrize("usual", [(61, 120), (59, 120), (60, 119), (60, 121)])
def test_it_notices_other_limits_of_saturation(usual: tuple[int, int], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("surveys.rules.measured.USUAL_SATURATION", tuple(map(Decimal, usual)))
    assert {row.rule for row in red(CHECKED)} == {"oxygen_unusual"}


def _moved(limits: tuple[Decimal, Decimal], side: int, by: Decimal) -> tuple[Decimal, Decimal]:
    moved = list(limits)
    moved[side] += by
    return moved[0], moved[1]


# A limit of nought cannot be undercut by what is unusual: below it a reading is impossible.
BOTH = [(key, "error_range", side) for key in POSSIBLE for side in (0, 1)]
USUALLY = [(key, "finding_range", side) for key, row in MOSTLY.items() for side in (0, 1) if row[0] or side]


@pytest.mark.parametrize("step", [2, -2])
@pytest.mark.parametrize(("key", "part", "side"), [*BOTH, *USUALLY])
def test_it_notices_a_range_that_moves(
    key: str, part: str, side: int, step: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    quantity = QUANTITIES[key]
    limits: dict[str, Any] = {part: _moved(getattr(quantity, part), side, Decimal(step))}
    moved = replace(quantity, **limits)
    changed = {**QUANTITIES, key: moved}
    monkeypatch.setattr("surveys.rules.measured.QUANTITIES", changed)
    assert any(key in row.changes.get("measurements", {}) for row in red(CHECKED))


def test_it_moves_every_range_there_is() -> None:
    """A quantity that is new needs its rows here."""
    assert set(POSSIBLE) == set(QUANTITIES)
    assert set(MOSTLY) == {key for key, each in QUANTITIES.items() if each.finding_range}


@pytest.mark.parametrize("factor", ["NITRATE_PER_NITROGEN", "PHOSPHATE_PER_PHOSPHORUS"])
def test_it_converts_by_more_than_three(factor: str) -> None:
    """That is why a unit is asked for: one kit's 1 is another's 3 or 4."""
    assert getattr(quantities, factor) > 3


def test_it_says_errors_first_to_be_mended_and_findings_apart() -> None:
    """No rule speaks on both sides: what stops a visit never also goes along with it."""
    for row in CHECKED:
        if row.speaks:
            said = check_submission(_read(row), row.context)
            stops = {each.rule for each in said.errors}
            assert not stops & {each.rule for each in said.findings}, row
