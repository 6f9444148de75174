"""The figures of one report all tell of one moment, whatever is approved meanwhile."""

from __future__ import annotations

import threading
from datetime import date

import pytest
from django.db import connection

from portal.accounts.walls import carried
from portal.reports.figures import records
from surveys.models import Visit
from tests.reports.conftest import YEAR, YearBook


def _approve_elsewhere(book: YearBook) -> None:
    """Another process approves the waiting visit, over a connection of its own."""

    def approve() -> None:
        try:
            waiting = Visit.objects.of_group(book.group).filter(status="waiting")
            assert waiting.update(status="approved", reviewed_by=book.cast.coordinator) == 1
        finally:
            connection.close()

    other = threading.Thread(target=carried(approve))
    other.start()
    other.join()


@pytest.mark.django_db(transaction=True)
def test_an_approval_between_two_queries_is_in_none_of_the_figures(
    book: YearBook, monkeypatch: pytest.MonkeyPatch
) -> None:
    book.visit(date(YEAR, 3, 10), status="waiting", reviewed_by=None)
    seen: list[list[str]] = []
    real = records._visits_before

    def approve_first(*args: object) -> object:
        _approve_elsewhere(book)
        visits = Visit.objects.of_group(book.group).values_list("status", flat=True)
        seen.append(list(visits))
        return real(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(records, "_visits_before", approve_first)
    figures = book.figures()
    assert seen == [["waiting"]]
    assert (figures["totals"]["made"], figures["quality"]["waiting"]) == (0, 1)
    monkeypatch.undo()
    assert book.figures()["totals"]["made"] == 1
