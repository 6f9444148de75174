"""Rows of a model as the text that PostgreSQL's COPY reads."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import islice
from typing import Any

from django.db import connection, models
from psycopg import sql
from psycopg.types.json import Jsonb

ROWS_AT_ONCE = 20_000
NULL = "\\N"
_ESCAPES = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})


def as_text(value: Any) -> str:
    """A value as it stands in a row of COPY."""
    match value:
        case None:
            return NULL
        case bool():
            return "t" if value else "f"
        case Jsonb():
            return json.dumps(value.obj).translate(_ESCAPES)
        case datetime():
            return value.isoformat()
        case _:
            return str(value).translate(_ESCAPES)


class Table:
    """One model's table: the columns that differ from row to row, and all others as they are in a new row.

    Raises ValueError where a column would be filled at the moment of saving: it must be named as differing.
    """

    def __init__(self, model: type[models.Model], *differing: str, **same: Any) -> None:
        self.model = model
        usual = model(**same)
        others = [each for each in stored_fields(model) if each.column not in differing]
        filled_late = [each.name for each in others if getattr(each, "auto_now_add", False)]
        if filled_late:
            raise ValueError(f"{model.__name__}: {', '.join(filled_late)} must differ by row")
        self.columns = (*differing, *(str(each.column) for each in others))
        self._tail = "".join("\t" + _text_of(each, usual) for each in others) + "\n"

    def copy(self, heads: Iterable[str]) -> int:
        """Add a row for each head, the differing columns' texts joined by tabs; returns how many."""
        rows = iter(heads)
        total = 0
        with connection.cursor() as cursor, cursor.copy(_copying(self.model, self.columns)) as copy:
            while some := list(islice(rows, ROWS_AT_ONCE)):
                copy.write(self._tail.join(some) + self._tail)
                total += len(some)
        return total


def copy_whole(instances: Iterable[models.Model]) -> None:
    """Add these instances of one model as they stand, and nothing that saving would fill in."""
    rows = list(instances)
    if not rows:
        return
    model = type(rows[0])
    fields = list(stored_fields(model))
    with (
        connection.cursor() as cursor,
        cursor.copy(_copying(model, [str(each.column) for each in fields])) as copy,
    ):
        for row in rows:
            copy.write("\t".join(_text_of(each, row) for each in fields) + "\n")


def stored_fields(model: type[models.Model]) -> Iterator[models.Field[Any, Any]]:
    """The fields that a row gives itself: none that the database counts up, fills in or reckons."""
    for each in model._meta.concrete_fields:
        is_filled = each.generated or each.db_default is not models.NOT_PROVIDED
        if not (isinstance(each, models.AutoField) or is_filled):
            yield each


def _text_of(field: models.Field[Any, Any], row: models.Model) -> str:
    return as_text(field.get_db_prep_save(getattr(row, field.attname), connection))


def _copying(model: type[models.Model], columns: Sequence[str]) -> sql.Composed:
    names = sql.SQL(", ").join(map(sql.Identifier, columns))
    return sql.SQL("COPY {} ({}) FROM STDIN").format(sql.Identifier(model._meta.db_table), names)
