"""Small properties of the models."""

from __future__ import annotations

from uuid import UUID

import pytest

from surveys.models import (
    Draft,
    Finding,
    ImportRun,
    ListTaxon,
    Measurement,
    Photo,
    RecordingList,
    Site,
    SpotEffort,
    TaxonCount,
    VisitScore,
)
from tests.conftest import Cast
from tests.factories import VisitFactory

NUMBER = UUID("6f1b5a53-6c5f-4b1e-9d52-0d9c1a8c5b11")


@pytest.mark.parametrize(
    ("thing", "words"),
    [
        (Site(code="AB1", name="Ford"), "AB1 Ford"),
        (SpotEffort(number=2), "spot 2"),
        (Measurement(quantity="ph", as_typed="7,4", unit="pH"), "ph 7,4 pH"),
        (TaxonCount(taxon="Baetidae"), "Baetidae"),
        (TaxonCount(taxon="Baetidae", recorded_as="Baetis"), "Baetis"),
        (ListTaxon(taxon="Baetidae"), "Baetidae"),
        (ListTaxon(taxon="Baetidae", label="Olive mayfly"), "Olive mayfly"),
        (RecordingList(name="Families"), "Families"),
        (Photo(caption="Weir"), "Weir"),
        (Photo(id=NUMBER), str(NUMBER)),
        (Draft(id=NUMBER), f"draft {NUMBER}"),
        (Finding(message="Unusual."), "Unusual."),
        (VisitScore(index="bmwp", value=48.0), "bmwp 48.0"),
        (ImportRun(file_name="2019.csv"), "2019.csv"),
    ],
)
def test_it_reads_as_people_would_say_it(thing: object, words: str) -> None:
    assert str(thing) == words


def test_it_adds_up_the_planned_time() -> None:
    """3 spots x 3 kicks x 10 s are 90 s (common practice, no source)."""
    assert Site(spots=3, kicks_per_spot=3, seconds_per_kick=10).planned_seconds == 90


def test_it_names_everybody_who_had_a_hand_in_a_visit(cast: Cast) -> None:
    visit = VisitFactory(
        site=cast.site, entered_by=cast.coordinator, recorder=cast.volunteer, partner=cast.other_volunteer
    )
    visit.corrected_by.add(cast.second_coordinator)
    assert visit.involved_user_ids == {
        cast.coordinator.pk,
        cast.volunteer.pk,
        cast.other_volunteer.pk,
        cast.second_coordinator.pk,
    }


def test_it_names_nobody_for_a_place_left_empty(cast: Cast) -> None:
    visit = VisitFactory(site=cast.site, entered_by=cast.volunteer)
    assert visit.involved_user_ids == {cast.volunteer.pk}
