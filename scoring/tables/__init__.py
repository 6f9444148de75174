"""The published tables as CSV, each row with its source and how well it is verified (see SOURCES.md)."""

import csv
from functools import cache
from importlib.resources import files

Row = dict[str, str]


@cache
def read_table(name: str) -> tuple[Row, ...]:
    """Return the rows of a packaged table, e.g. `read_table("bmwp")`; raises FileNotFoundError."""
    text = files(__name__).joinpath(f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def split_names(cell: str) -> tuple[str, ...]:
    """Return the names of a cell that holds several, parted by semicolons."""
    return tuple(name.strip() for name in cell.split(";") if name.strip())
