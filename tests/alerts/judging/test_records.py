"""Whether a baseline is sound is answered from the latest visits, and is the same as from all of them."""

from __future__ import annotations

from typing import Any

import pytest
from django.utils import timezone

from alerts.judging.records import has_baseline, records_read_once, site_record
from alerts.models import Verdict
from surveys.models import Visit
from tests.conftest import Cast
from tests.factories import days_ago, submit

LEAST = 3

pytestmark = pytest.mark.django_db


def approved(cast: Cast, days: int, **changes: Any) -> Visit:
    visit = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(days).isoformat(), **changes)
    fields = {"status": "approved", "reviewed_by": cast.coordinator, "reviewed_at": timezone.now()}
    Visit.objects.of_group(cast.group).filter(pk=visit.pk).update(**fields)
    return visit


def answer(cast: Cast, days: int) -> bool:
    """As it is told, after it has been held against the whole record."""
    told = has_baseline(cast.site, "bmwp", days_ago(days), LEAST)
    assert told == (len(site_record(cast.site, "bmwp").baseline(before=days_ago(days))) >= LEAST)
    return told


def test_so_many_earlier_visits_are_needed(cast: Cast) -> None:
    for days in (40, 30, 20):
        approved(cast, days)
    assert answer(cast, 19)
    # Neither that day's own visit counts, nor a later one.
    assert not answer(cast, 20)


def test_what_cannot_be_compared_does_not_count(cast: Cast) -> None:
    visits = [approved(cast, days) for days in (40, 30, 20)]
    approved(cast, 15, spots=[])
    submit(cast.person("volunteer"), cast.site, visited_on=days_ago(14).isoformat())
    Verdict.objects.of_group(cast.group).filter(visit=visits[0]).update(
        outcome="below", trigger=_trigger(cast), value=1
    )
    assert not answer(cast, 1)


def test_older_visits_count_where_the_latest_cannot_be_compared(cast: Cast) -> None:
    for days in (90, 80, 70):
        approved(cast, days)
    for days in range(10, 10 + 2 * LEAST + 1):
        approved(cast, days, spots=[])
    assert answer(cast, 1)


def test_it_reads_few_visits_and_once(cast: Cast, django_assert_num_queries: Any) -> None:
    for days in (40, 30, 20):
        approved(cast, days)
    with django_assert_num_queries(1):
        assert has_baseline(cast.site, "bmwp", days_ago(1), LEAST)
    with records_read_once(), django_assert_num_queries(1):
        site_record(cast.site, "bmwp")
        assert has_baseline(cast.site, "bmwp", days_ago(1), LEAST)


def _trigger(cast: Cast) -> Any:
    from alerts.models import Trigger

    fields = {"index": "bmwp", "level": 30, "valid_from": days_ago(400), "reason": "x"}
    return Trigger.objects.create(group=cast.group, site=cast.site, set_by=cast.coordinator, **fields)
