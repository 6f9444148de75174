"""Spreadsheets of visits: kept for a check, loaded whole or not at all, approved by somebody else, undone."""

from surveys.services.imports.approving import Approved, approve_run
from surveys.services.imports.checking import (
    check_and_keep,
    check_key,
    explain_sheet,
    request_check,
    take_sheet,
)
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
    "check_and_keep",
    "check_key",
    "check_run",
    "explain_sheet",
    "forget_old_sheets",
    "keep_sheet",
    "laid_out",
    "load_run",
    "load_sheet",
    "map_columns",
    "plan_of",
    "raw_of",
    "request_check",
    "request_loading",
    "request_undoing",
    "take_sheet",
    "undo_run",
]
