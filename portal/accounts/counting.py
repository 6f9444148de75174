"""Counting inside another query, so that a page reads all its figures at once."""

from __future__ import annotations

from typing import Any

from django.db.models import F, Func, IntegerField, QuerySet, Subquery


def number_of(rows: QuerySet[Any, Any]) -> Subquery:
    """How many `rows` there are, as an expression; the rows may refer to those of the query around it."""
    counted = Func(F("pk"), function="COUNT", output_field=IntegerField())
    return Subquery(rows.order_by().annotate(how_many=counted).values("how_many"))
