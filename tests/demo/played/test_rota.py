"""The demonstration's rota: published, partly answered, and with a place for somebody to take."""

from __future__ import annotations

import pytest
from django.utils import timezone

from portal.accounts.models import Group
from surveys.rota.models import Assignment, Availability
from surveys.rota.queries import plans
from tests.demo.played.conftest import NOW

pytestmark = pytest.mark.django_db


def test_the_rota_is_published_with_reasons_and_answers(small_demo: Group) -> None:
    places = Assignment.objects.of_group(small_demo)
    assert places.filter(state="accepted").count() >= 2
    assert places.filter(state="declined").count() == 1
    assert all(each.why for each in places)


def test_somebody_finds_a_visit_to_come(small_demo: Group) -> None:
    coming = plans(small_demo, timezone.localdate(NOW), "published")
    assert {each.outcome for each in coming} & {"coming", "open"}
    assert Availability.objects.of_group(small_demo).count() >= 3
