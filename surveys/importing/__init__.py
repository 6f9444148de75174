"""Spreadsheets of visits: one row per taxon per visit, checked whole, loaded whole or not at all."""

from surveys.importing.checking import CheckedSheet, check_sheet, loaded_before
from surveys.importing.columns import COLUMNS, Column
from surveys.importing.grouping import RowProblem
from surveys.importing.reading import Sheet, UnusableFile, read_sheet

__all__ = [
    "COLUMNS",
    "CheckedSheet",
    "Column",
    "RowProblem",
    "Sheet",
    "UnusableFile",
    "check_sheet",
    "loaded_before",
    "read_sheet",
]
