"""No row without a tenant: models that belong to a group refuse a query that names no group and no person.

Forgetting the filter raises `UnscopedQuery` instead of showing one group's rows to another.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Self, TypeVar

from django.db import models
from django.db.models.expressions import Col
from django.db.models.lookups import Exact, In
from django.db.models.sql.where import AND, WhereNode

if TYPE_CHECKING:
    from portal.accounts.access import Person
    from portal.accounts.models import Group

M = TypeVar("M", bound=models.Model)


class UnscopedQuery(RuntimeError):
    """A query on a group's rows that names neither a group nor a person."""


def _names_group(where: WhereNode, column: str) -> bool:
    """Whether the conditions joined by AND pin `column`, the column of the group."""
    if where.connector != AND or where.negated:
        return False
    return any(_child_names_group(child, column) for child in where.children)


def _child_names_group(child: Any, column: str) -> bool:
    if isinstance(child, WhereNode):
        return _names_group(child, column)
    if not isinstance(child, Exact | In) or not isinstance(child.lhs, Col):
        return False
    return child.lhs.target.column == column and child.lhs.target.remote_field is not None


class GroupOwnedQuerySet(models.QuerySet[M]):
    """A queryset that runs only once it names whose rows it means."""

    _is_scoped = False

    def of_group(self, group: Group) -> Self:
        """The rows of one group."""
        return self._scoped(**{self._group_path(): group})

    def visible_to(self, person: Person) -> Self:
        """The rows of every group the person is a member of."""
        return self._scoped(**{f"{self._group_path()}__in": person.group_ids})

    def across_groups(self, reason: str) -> Self:
        """Every group's rows, for the portal's own work (sweeps, signed links); `reason` is for the reader."""
        if not reason:
            raise ValueError("Say why a query crosses groups.")
        return self._scoped()

    def _scoped(self, **conditions: Any) -> Self:
        found = self.filter(**conditions)
        found._is_scoped = True
        return found

    def _group_path(self) -> str:
        return getattr(self.model, "group_path", "group")

    def _clone(self) -> Self:
        clone: Self = super()._clone()  # type: ignore[misc]
        clone._is_scoped = self._is_scoped
        return clone

    def _require_scope(self) -> None:
        related = "instance" in self._hints  # type: ignore[attr-defined]
        empty = self.query.is_empty()
        if not (self._is_scoped or related or empty or _names_group(self.query.where, "group_id")):
            raise UnscopedQuery(f"{self.model.__name__}: name a group or a person first.")

    def __or__(self, other: Self) -> Self:  # type: ignore[override]
        other._require_scope()
        return super().__or__(other)

    def _combinator_query(self, combinator: str, *others: Self, all: bool = False) -> Self:
        # A union shows the rows of all its parts, so that each of them has to name its group.
        for other in others:
            other._require_scope()
        combined: Self = super()._combinator_query(combinator, *others, all=all)  # type: ignore[misc]
        return combined

    def _fetch_all(self) -> None:
        if self._result_cache is None:
            self._require_scope()
        super()._fetch_all()

    def iterator(self, chunk_size: int | None = None) -> Iterator[M]:
        self._require_scope()
        return super().iterator(chunk_size)

    def count(self) -> int:
        self._require_scope()
        return super().count()

    def exists(self) -> bool:
        self._require_scope()
        return super().exists()

    def aggregate(self, *args: Any, **kwargs: Any) -> dict[str, Any]:
        self._require_scope()
        return super().aggregate(*args, **kwargs)

    def update(self, **kwargs: Any) -> int:
        self._require_scope()
        return super().update(**kwargs)

    def delete(self) -> tuple[int, dict[str, int]]:
        self._require_scope()
        return super().delete()


GroupOwnedManager = models.Manager.from_queryset(GroupOwnedQuerySet)
