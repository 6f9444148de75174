"""Submission data in the making."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from surveys.importing.grouping import RowProblem

Cell = tuple[int, str]


@dataclass
class Draft:
    """Submission data of one visit, the cell behind each of its fields, and the problems met so far."""

    data: dict[str, Any]
    cells: dict[str, Cell] = field(default_factory=dict)
    problems: list[RowProblem] = field(default_factory=list)

    def keep(self, path: str, row: int, column: str) -> None:
        """Remember that a field came from this cell, or from an earlier one."""
        self.cells.setdefault(path.casefold(), (row, column))

    def place(self, path: str, first_row: int) -> Cell:
        """The cell of a field path, of the nearest path above it, or else the visit's first row."""
        key = path.casefold()
        while key:
            if key in self.cells:
                return self.cells[key]
            key = key.rpartition(".")[0]
        return (first_row, "")

    def refuse(self, row: int, column: str, message: str) -> None:
        """Note a problem at a cell."""
        self.problems.append(RowProblem(row, column, message))
