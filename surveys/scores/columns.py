"""Which scores a table of visits shows: those that the visits' recording lists support."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _

from scoring.indices import METHODS
from surveys.lists.recording import leading_indices, reasons_of_lists
from surveys.models import Visit
from surveys.texts.told import told
from surveys.visits.sheets import printed, scores_of

# Three figures and a verdict are what a row of a phone bears.
MOST_COLUMNS = 3


@dataclass(frozen=True)
class ScoreColumn:
    """A column of scores: its heading, and for each recording list the index that stands in it ("" for none).

    `names_index` marks the column of a table whose lists differ, where each cell says which index it is.
    """

    heading: str
    by_list: Mapping[UUID, str]
    names_index: bool = False

    def cell(self, visit: Visit) -> str:
        """The score as printed, or a dash; the visit was read with `current_scores`."""
        index = self.by_list.get(visit.recording_list_id, "")
        found = next((each.value for each in scores_of(visit) if each.index == index), None)
        if found is None:
            return printed(None, 0)
        value = printed(found, METHODS[index].decimals)
        return f"{told(METHODS[index].name)} {value}" if self.names_index else value


def columns_of(visits: Iterable[Visit], *, most: int = MOST_COLUMNS) -> list[ScoreColumn]:
    """The columns of a table of these visits (at most one query).

    Where all were recorded on lists that lead with the same indices, each index has its column; else one column
    holds the leading index of each visit's own list.
    """
    leading = headlines_of({visit.recording_list_id for visit in visits})
    shown = {indices[:most] for indices in leading.values()}
    if len(shown) == 1 and (indices := shown.pop()):
        return [ScoreColumn(told(METHODS[index].name), dict.fromkeys(leading, index)) for index in indices]
    by_list = {list_id: next(iter(indices), "") for list_id, indices in leading.items()}
    return [ScoreColumn(_("Score"), by_list, names_index=True)]


def headlines_of(lists: Iterable[UUID]) -> dict[UUID, tuple[str, ...]]:
    """What a page leads with at each of these lists, the first before all (at most one query)."""
    return {each: leading_indices(reasons) for each, reasons in reasons_of_lists(set(lists)).items()}
