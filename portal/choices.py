"""Columns of words to choose from, held to them by the database as well."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db.models import CheckConstraint, Q


def known(name: str, /, **fields: Iterable[str | int]) -> CheckConstraint:
    """The constraint of that name that each of these fields holds one of its values; it may always be NULL.

    Choices of a field are looked at by forms only. A name ends with "known", by which a test finds it.
    """
    return CheckConstraint(
        condition=Q(**{f"{field}__in": [*values] for field, values in fields.items()}), name=name
    )


def or_blank(values: Iterable[str]) -> list[str]:
    """These, or nothing said."""
    return ["", *values]


class AddKnown(AddConstraintNotValid):
    """Adds a constraint without reading the rows, again after a run that was broken off.

    For migrations of several tables that are no transaction: one would hold all of them until it ends, and wait
    in a ring with whoever holds one and wants another.
    """

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        """Take away what an earlier run left, and add."""
        table = to_state.apps.get_model(app_label, self.model_name)._meta.db_table
        quoted = [schema_editor.quote_name(each) for each in (table, self.constraint.name)]
        schema_editor.execute("ALTER TABLE {} DROP CONSTRAINT IF EXISTS {}".format(*quoted))
        super().database_forwards(app_label, schema_editor, from_state, to_state)
