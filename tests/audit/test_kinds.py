"""What was changed past the portal is said in words: no table is without them."""

from __future__ import annotations

import re

import pytest

from portal.audit.kinds import KINDS, change_in_words, kind_of
from portal.audit.models import RowChange
from portal.audit.watching import watched_tables


def test_every_watched_table_has_its_words_and_no_words_are_left_over() -> None:
    assert {each.table for each in watched_tables()} == set(KINDS)


def test_two_tables_never_read_alike() -> None:
    words = [kind_of(table) for table in KINDS]
    assert len(set(words)) == len(words)


@pytest.mark.parametrize("operation", RowChange.Operation.values)
def test_no_sentence_names_a_table(operation: str) -> None:
    for table in [*KINDS, "surveys_gone_since"]:
        words = change_in_words(RowChange(table=table, operation=operation))
        assert not re.search(r"[a-z]_[a-z]|%", words), words
        assert words.lower().startswith(operation)
