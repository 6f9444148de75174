"""Many rows of a model in one statement; policies, keys and triggers hold as for any row.

Each column goes to PostgreSQL as one array. Nothing is made of the rows first: no instances, no statement for
each, and no temporary table, which costs more than the rows of a single visit. The statements of several models
can go as one message (`Gathered`), since waiting for each costs about as much as what it does.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from functools import cache
from typing import Any, NamedTuple
from uuid import UUID

from django.db import connection, models
from psycopg import sql

_QUOTED = str.maketrans({"\\": "\\\\", '"': '\\"'})
# As they stand in an array; what is not named here is written as Python shows it.
_PLAIN: Mapping[type, Callable[[Any], str]] = {
    type(None): lambda _: "NULL",
    bool: lambda value: "t" if value else "f",
    int: str,
    float: repr,
    Decimal: str,
    UUID: str,
    date: date.isoformat,
    datetime: datetime.isoformat,
    time: time.isoformat,
}


class _Statement(NamedTuple):
    """The text of an INSERT, how each of its columns is written, and what all other columns have."""

    text: str
    writers: tuple[Callable[[Any], str], ...]
    usual: tuple[Any, ...]


class Gathered:
    """Statements that wait to be sent together; rows may point to rows that were gathered before them."""

    def __init__(self) -> None:
        self._texts: list[str] = []
        self._values: list[Any] = []

    def add(self, text: str, values: Iterable[Any]) -> None:
        self._texts.append(text)
        self._values.extend(values)

    def write(self) -> None:
        """Send what waits, in its order, as statements of their own; raises what the first to fail raises."""
        if self._texts:
            text, values = "; ".join(self._texts), self._values
            self._texts, self._values = [], []
            with connection.cursor() as cursor:
                cursor.execute(text, values)


def insert_rows(
    model: type[models.Model],
    columns: tuple[str, ...],
    rows: Iterable[Sequence[Any]],
    into: Gathered | None = None,
) -> None:
    """Add rows, each with its values in the order of `columns`; all other columns are as in a new row.

    With `into` they wait there until it is written. JSON may be given as text. Raises ValueError where a column
    is left out that is filled while saving.
    """
    by_column = list(zip(*rows, strict=True))
    if not by_column:
        return
    gathered = Gathered() if into is None else into
    statement = _statement(model, columns)
    arrays = [_array(values, write) for values, write in zip(by_column, statement.writers, strict=True)]
    gathered.add(statement.text, [*statement.usual, *arrays])
    if into is None:
        gathered.write()


def _array(values: Sequence[Any], write: Callable[[Any], str]) -> str:
    if write is _text:
        # The same few names again and again.
        told = {each: _text(each) for each in set(values)}
        return "{" + ",".join([told[each] for each in values]) + "}"
    return "{" + ",".join(map(write, values)) + "}"


@cache
def _statement(model: type[models.Model], columns: tuple[str, ...]) -> _Statement:
    fields = {str(each.column): each for each in model._meta.concrete_fields}
    named = [fields[each] for each in columns]
    others = [each for each in fields.values() if each.column not in columns and _is_ours(each)]
    # Names of our own models only, quoted; all values are parameters.
    text = "INSERT INTO {table} ({columns}) SELECT {cells} FROM UNNEST({arrays}) AS told".format(  # noqa: S608
        table=_names([model._meta.db_table]),
        columns=_names([*columns, *(str(each.column) for each in others)]),
        cells=", ".join(["told.*", *(f"%s::{_type(each)}" for each in others)]),
        arrays=", ".join(f"%s::{_type(each)}[]" for each in named),
    )
    usual = [each.get_db_prep_save(each.get_default(), connection) for each in others]
    return _Statement(text, tuple(map(_writer, named)), tuple(usual))


def _is_ours(field: models.Field[Any, Any]) -> bool:
    """Whether a row gives it itself: not what the database counts up, fills in or reckons."""
    if getattr(field, "auto_now_add", False) or getattr(field, "auto_now", False):
        raise ValueError(f"{field.model.__name__}: {field.name} must differ by row")
    filled = field.generated or field.db_default is not models.NOT_PROVIDED
    return not (isinstance(field, models.AutoField) or filled)


def _names(names: Iterable[str]) -> str:
    return ", ".join(sql.Identifier(each).as_string(None) for each in names)


def _type(field: models.Field[Any, Any]) -> str:
    # Without its length: a cast would cut a longer text off where the column itself refuses it.
    return str(field.db_type(connection)).partition("(")[0]


def _writer(field: models.Field[Any, Any]) -> Callable[[Any], str]:
    if isinstance(field, models.JSONField):
        return _json
    return _text if isinstance(field, models.CharField | models.TextField) else _plain


def _plain(value: Any) -> str:
    return _PLAIN.get(type(value), str)(value)


def _text(value: Any) -> str:
    return "NULL" if value is None else f'"{str(value).translate(_QUOTED)}"'


def _json(value: Any) -> str:
    return _text(value if value is None or isinstance(value, str) else json.dumps(value))
