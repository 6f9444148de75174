"""Spreadsheets of visits: kept for a check, loaded whole or not at all, approved by somebody else, undone."""

from surveys.services.imports.approving import Approved, approve_run
from surveys.services.imports.keeping import (
    check_run,
    forget_old_sheets,
    keep_sheet,
    laid_out,
    map_columns,
    plan_of,
    raw_of,
)
from surveys.services.imports.loading import Loaded, SheetHasProblems, load_run, load_sheet, request_loading
from surveys.services.imports.undoing import request_undoing, undo_run

__all__ = [
    "Approved",
    "Loaded",
    "SheetHasProblems",
    "approve_run",
    "check_run",
    "forget_old_sheets",
    "keep_sheet",
    "laid_out",
    "load_run",
    "load_sheet",
    "map_columns",
    "plan_of",
    "raw_of",
    "request_loading",
    "request_undoing",
    "undo_run",
]
