"""What must never be false stands in the database, whatever the code above does."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from surveys.models import VisitScore
from tests.conftest import Cast
from tests.factories import MeasurementFactory, SiteFactory, SpotEffortFactory, TaxonCountFactory, VisitFactory


def refused(make: Any, constraint: str, **fields: Any) -> None:
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        make(**fields)


@pytest.mark.parametrize(("was_made", "reason"), [(True, "too_high"), (False, "")])
def test_a_visit_is_made_or_has_a_reason(cast: Cast, was_made: bool, reason: str) -> None:
    refused(
        VisitFactory, "visit_made_or_with_reason", site=cast.site, was_made=was_made, not_made_reason=reason
    )


@pytest.mark.parametrize(
    ("fields", "constraint"),
    [
        ({"count": 3, "low": 1, "high": 9}, "count_range_or_presence"),
        ({"count": None, "high": 9}, "count_range_or_presence"),
        ({"count": None, "low": 0, "high": 9}, "count_range_or_presence"),
        ({"count": None, "low": 10, "high": 9}, "range_upwards"),
    ],
)
def test_a_line_has_a_count_or_a_range(cast: Cast, fields: dict[str, Any], constraint: str) -> None:
    refused(TaxonCountFactory, constraint, visit=VisitFactory(site=cast.site), **fields)


def test_a_count_is_never_below_nought(cast: Cast) -> None:
    refused(TaxonCountFactory, "count", visit=VisitFactory(site=cast.site), count=-1)


def test_parts_of_a_visit_stand_once(cast: Cast) -> None:
    visit = VisitFactory(site=cast.site)
    for make, constraint, fields in (
        (TaxonCountFactory, "taxon_once_in_a_visit", {"taxon": "Baetidae"}),
        (SpotEffortFactory, "spot_once_in_a_visit", {"number": 1}),
        (MeasurementFactory, "quantity_once_in_a_visit", {"quantity": "ph"}),
    ):
        make(visit=visit, **fields)
        refused(make, constraint, visit=visit, **fields)


def test_an_index_has_one_current_score(cast: Cast) -> None:
    score = {"visit": VisitFactory(site=cast.site), "index": "bmwp", "version": "1", "value": 4}
    VisitScore.objects.create(**score, is_current=False)
    VisitScore.objects.create(**score)
    refused(VisitScore.objects.create, "one_current_score_per_index", **score)


def test_a_site_code_stands_once_in_a_group(cast: Cast) -> None:
    refused(SiteFactory, "site_code_once_in_a_group", group=cast.group, code=cast.site.code)
    assert SiteFactory(group=cast.neighbour, code=cast.site.code).pk


@pytest.mark.parametrize("place", [{"latitude": 91}, {"longitude": -180.5}])
def test_a_site_lies_on_the_globe(cast: Cast, place: dict[str, float]) -> None:
    refused(SiteFactory, "site_on_the_globe", group=cast.group, **place)
