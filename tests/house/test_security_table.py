"""The table of the security standard: whole, and it names only files that are there."""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise

import pytest

from portal.embedded.place import PROJECT

TEXT = (PROJECT / "portal" / "deploy" / "ASVS.md").read_text()
ROW = re.compile(r"^\| (\d+)\.(\d+)\.(\d+) \| ([12]) \| ([^|]+) \| ([^|]+) \| ([^|]*)\|$", re.MULTILINE)
ROWS = ROW.findall(TEXT)
NAMED = sorted(set(re.findall(r"`([\w./-]+/[\w./-]*|[\w-]+\.(?:txt|yml))`", TEXT)) - {"/health/"})
STATES = {"met", "part", "not", "operator", "none"}


def test_every_line_of_a_table_is_read() -> None:
    assert len(ROWS) == len(re.findall(r"^\| \d", TEXT, re.MULTILINE))


def test_it_has_every_requirement_of_both_levels_once_and_in_order() -> None:
    """As many as the published standard, version 5.0.0, has at level 1 and at level 2."""
    numbers = [tuple(int(part) for part in row[:3]) for row in ROWS]
    assert all(one < other for one, other in pairwise(numbers))
    assert Counter(row[3] for row in ROWS) == {"1": 70, "2": 183}


def test_each_has_a_state_and_whatever_is_met_says_where() -> None:
    assert {row[5] for row in ROWS} <= STATES
    assert [row[:3] for row in ROWS if row[5] in ("met", "part") and not row[6].strip()] == []


def test_what_concerns_access_is_shown_by_tests() -> None:
    untested = [row[:3] for row in ROWS if row[0] == "8" and row[5] == "met" and "tests/" not in row[6]]
    assert untested == []


@pytest.mark.parametrize("named", NAMED)
def test_what_it_names_is_there(named: str) -> None:
    assert (PROJECT / named).exists()


def test_it_names_many() -> None:
    assert len([each for each in NAMED if each.startswith("tests/")]) > 40
