"""One row of any kind for a group, where the world of the tests has none: it need only be there."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import time
from types import MappingProxyType
from typing import Any
from uuid import UUID, uuid4

from django.db import models
from django.utils import timezone

from tests.emptying import past_triggers

# By the kind of field, where the model has no default.
PLAIN: Mapping[str, Callable[[], Any]] = MappingProxyType(
    {
        "CharField": lambda: "x",
        "TextField": lambda: "x",
        "EmailField": lambda: "x@example.org",
        "DateField": timezone.localdate,
        "DateTimeField": timezone.now,
        "TimeField": lambda: time(9),
        "JSONField": dict,
        "UUIDField": uuid4,
        "BooleanField": lambda: False,
        "GenericIPAddressField": lambda: "192.0.2.1",
    }
)
Found = Callable[[str, UUID], list[str]]


def make_row(model: type[models.Model], group: UUID, numbers_of: Found, **facts: Any) -> None:
    """Write one; `numbers_of` finds the rows of the group in another table, to which it may refer."""
    values = {each.attname: _value(each, group, numbers_of) for each in model._meta.fields if _is_needed(each)}
    with past_triggers():
        model._base_manager.bulk_create([model(**values | facts)])


def _is_needed(field: models.Field[Any, Any]) -> bool:
    is_made = field.has_default() or field.has_db_default() or (field.primary_key and field.db_returning)
    return not (field.null or is_made)


def _value(field: models.Field[Any, Any], group: UUID, numbers_of: Found) -> Any:
    if isinstance(field, models.ForeignKey):
        return _reference(field.related_model, group, numbers_of)
    if field.choices:
        return next(iter(field.choices))[0]
    return PLAIN.get(field.get_internal_type(), lambda: 1)()


def _reference(model: Any, group: UUID, numbers_of: Found) -> Any:
    table = model._meta.db_table
    if table == "accounts_user":
        return model._base_manager.first().pk
    return numbers_of(table, group)[0]
