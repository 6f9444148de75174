"""The score that a phone shows while its owner is still counting: which indices, and worked out from what."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from scoring.indices import METHODS, Method
from scoring.provisional import TABLE_OF, provisional_tables
from surveys.lists.recording import leading_indices, reasons_for


# Told apart by itself: there is one for each list, and what is drawn of it is kept with it.
@dataclass(frozen=True, eq=False)
class Provisional:
    """The methods shown, the list's headline first, and the tables for the script (`scoring.provisional`)."""

    methods: tuple[Method, ...]
    tables: dict[str, Any]

    @property
    def headline(self) -> Method | None:
        """The index that is shown large, if the script can work out any."""
        return self.methods[0] if self.methods else None

    @property
    def others(self) -> tuple[Method, ...]:
        """The indices that stand behind a fold."""
        return self.methods[1:]


@lru_cache(maxsize=50)
def provisional_for(taxa: Sequence[str]) -> Provisional:
    """What a phone works out for a tuple of the names of a recording list: only what that list supports."""
    reasons = reasons_for(taxa)
    supported = [index for index in TABLE_OF if not reasons[index]]
    leading = [index for index in leading_indices(reasons) if index in supported]
    order = tuple(dict.fromkeys([*leading, *supported]))
    return Provisional(tuple(METHODS[index] for index in order), provisional_tables(order))
