"""Visits whose parts come packed are the same as those whose parts are asked for one kind after the other."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import models
from django.utils import timezone

from surveys.models import Finding, Photo, Visit, VisitQuestion
from surveys.services.photos import add_photo
from surveys.templatetags.surveying import kicking_seconds
from surveys.visits.parts import ALL_PARTS, laid_out, shown_photos, with_parts
from surveys.visits.sheets import counted
from tests.access.world import picture
from tests.conftest import Cast
from tests.factories import days_ago, submit

NoQueries = Any
TIMED = [
    {"seconds": "10.5", "started_at": "2026-05-04T09:10:11.123Z"},
    {"seconds": "9.875", "started_at": "2026-05-04T09:10:31.007Z"},
    {"seconds": "10.1", "started_at": "2026-05-04T09:10:51Z"},
]


@pytest.fixture
def full(cast: Cast) -> Visit:
    """A visit with everything: decimals with noughts at their end, ranges, times, a decision, an answer."""
    visit = submit(
        cast.person("volunteer"),
        cast.site,
        spots=[{"number": number, "kicks": 3, "seconds": "30.0", "depth_cm": "20"} for number in (2, 1, 3)],
        measurements={"ph": {"value": "9.40"}, "temperature": {"value": "12.50"}},
        counts=[{"taxon": "Baetidae", "range": "1-9"}, {"taxon": "Chironomidae", "count": 0}],
    )
    spot = visit.spots.get(number=2)
    for number, kick in enumerate(TIMED, 1):
        spot.timed.create(number=number, **kick)
    visit.corrected_by.add(cast.second_coordinator, cast.coordinator)
    first = Finding.objects.of_group(cast.group).filter(visit=visit).first()
    assert first
    Finding.objects.of_group(cast.group).filter(pk=first.pk).update(
        decision="accepted", decided_by=cast.coordinator, decided_at=timezone.now(), decision_reason="So it is."
    )
    Finding.objects.create(visit=visit, rule="deep", field="spots.9.depth_cm", message="“Deep” & 'wide'\n")
    VisitQuestion.objects.create(
        visit=visit,
        text="Which meter?",
        asked_by=cast.coordinator,
        asked_of=cast.volunteer,
        answer="Ours.",
        answered_at=timezone.now(),
    )
    return visit


def read(visit: Visit) -> Visit:
    rows = Visit.objects.of_group(visit.group).filter(pk=visit.pk).select_related("recording_list", "group")
    return laid_out(with_parts(rows, *ALL_PARTS, "taxa"))[0]


def values_of(rows: Any) -> list[dict[str, Any]]:
    return [
        {field.attname: getattr(each, field.attname) for field in each._meta.concrete_fields} for each in rows
    ]


def exact(rows: Any) -> str:
    """Every value with its type and its noughts."""
    return repr(values_of(rows))


@pytest.mark.parametrize("part", ["spots", "measurements", "counts", "findings", "questions"])
def test_packed_parts_are_those_the_models_would_read(full: Visit, part: str) -> None:
    packed, plain = getattr(read(full), part).all(), getattr(full, part).all()
    assert len(plain) > 0
    assert all(type(each) is type(other) for each, other in zip(packed, plain, strict=True))
    assert exact(packed) == exact(plain)


def test_kicks_scores_people_and_the_list_come_along(full: Visit) -> None:
    visit = read(full)
    timed = [exact(spot.timed.all()) for spot in visit.spots.all()]
    assert timed == [exact(spot.timed.all()) for spot in full.spots.all()]
    assert "9.875" in timed[1]
    scores: list[models.Model] = sorted(visit.current_scores, key=lambda each: each.index)  # type: ignore[attr-defined]
    assert exact(scores) == exact(full.scores.filter(is_current=True).order_by("index"))
    assert visit.involved_user_ids == full.involved_user_ids
    assert exact(visit.recording_list.taxa.all()) == exact(full.recording_list.taxa.all())


def test_a_page_reads_one_visit_with_all_its_parts_in_one_query(
    full: Visit, django_assert_num_queries: NoQueries
) -> None:
    with django_assert_num_queries(1):
        visit = read(full)
        assert [each.decided_by and each.decided_by.name for each in visit.findings.all()] == [
            "Cora Example",
            None,
        ]
        assert [(each.asked_by.name, each.asked_of_id) for each in visit.questions.all()] == [
            ("Cora Example", visit.recorder_id)
        ]
        assert all(each.visit is visit for each in visit.counts.all())
        assert {user.name for user in visit.corrected_by.all()} == {"Cora Example", "Cole Example"}
        assert len(visit.recording_list.taxa.all()) > 0


def test_parts_of_many_visits_do_not_mix(full: Visit, cast: Cast) -> None:
    other = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(50).isoformat())
    rows = with_parts(Visit.objects.of_group(cast.group), "counts", "spots")
    for visit in laid_out(rows):
        same = other if visit.pk == other.pk else full
        assert exact(visit.counts.all()) == exact(same.counts.all())
        assert len(visit.spots.all()) == 3


def test_what_a_comparison_needs_is_as_much_of_the_counts_as_it_shows(full: Visit, cast: Cast) -> None:
    rows = Visit.objects.of_group(cast.group).filter(pk=full.pk)
    (visit,) = laid_out(with_parts(rows, "tallies", "effort", "figures"))
    columns = ("taxon", "count", "low", "high")
    tallies = [tuple(getattr(each, name) for name in columns) for each in visit.tallies]  # type: ignore[attr-defined]
    assert tallies == [tuple(row) for row in full.counts.values_list(*columns)]
    assert ("Baetidae", None, 1, 9) in tallies
    assert [counted(each) for each in visit.tallies] == [counted(each) for each in full.counts.all()]  # type: ignore[attr-defined]
    assert kicking_seconds(visit) == kicking_seconds(full) == "90 s"


def test_a_visit_without_parts_has_none(cast: Cast) -> None:
    gap = {"was_made": False, "not_made_reason": "dry", "spots": [], "measurements": {}, "counts": []}
    visit = read(submit(cast.person("volunteer"), cast.site, **gap))
    assert [len(getattr(visit, part).all()) for part in ("spots", "measurements", "questions")] == [0, 0, 0]


def test_it_reads_retired_scores_and_pictures_where_they_are_asked_for(full: Visit, cast: Cast) -> None:
    person = cast.person("volunteer")
    where: Any = {"person": person, "group": cast.group, "visit_number": full.pk}
    late, early = (add_photo(**where, upload=picture()) for _each in range(2))
    Photo.objects.of_group(cast.group).filter(pk=late.pk).update(added_at=timezone.now() + timedelta(hours=1))
    retired = full.scores.filter(index="bmwp").update(is_current=False)
    assert retired
    rows = Visit.objects.of_group(cast.group).filter(pk=full.pk)
    (visit,) = laid_out(with_parts(rows, "scores", "every_score", "photos"))
    assert shown_photos([visit]) == [early, late]
    assert [each.file.name for each in shown_photos([visit])] == [early.file.name, late.file.name]
    assert values_of(visit.scores.all()) == values_of(full.scores.all())
    in_force = {each.index for each in visit.current_scores}  # type: ignore[attr-defined]
    assert {each.index for each in visit.scores.all()} - in_force == {"bmwp"}
