"""What is said of a visit stays the same on every way through: data, database, form, sheet."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, datetime, time
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st

from scoring.indices import score_sample
from scoring.samples import ABUNDANCE_RANGES, Count
from surveys.importing import check_sheet, read_sheet
from surveys.lists.recording import reasons_of
from surveys.measuring.quantities import QUANTITIES
from surveys.models import Visit
from surveys.models.samples import FlowType
from surveys.models.visits import Clarity, WaterLevel, Weather
from surveys.services.visits import submit_visit
from surveys.submission import (
    Entry,
    Reading,
    Spot,
    Submission,
    Timed,
    as_data,
    differences,
    parse_submission,
    submission_of,
)
from tests.conftest import Cast
from tests.factories import days_ago
from tests.surveys.test_fuzzing import fuzz

TAXA = ("Baetidae", "Heptageniidae", "Chironomidae", "Gammaridae", "Asellidae", "Elmidae", "Leuctridae")
# As they come in: no blanks around, and nothing that no keyboard writes.
WORDS = st.text(st.characters(categories=["L", "N", "P"]), max_size=30)
TENTHS = st.decimals(min_value="0.1", max_value="999.9", places=1)
CLOCK = st.none() | st.builds(time, st.integers(0, 23), st.integers(0, 59))


def entry_of(taxon: str, amount: Any, by_key: bool) -> Entry:
    low, high = amount if isinstance(amount, tuple) else (None, None)
    count = None if isinstance(amount, tuple) else amount
    return Entry(taxon, "", count, low, high, by_key=by_key and count != 0)


AMOUNTS = st.integers(0, 5000) | st.sampled_from(ABUNDANCE_RANGES) | st.just((None, None))
COUNTS = st.dictionaries(st.sampled_from(TAXA), st.tuples(AMOUNTS, st.booleans()), min_size=1).map(
    lambda found: tuple(entry_of(taxon, *said) for taxon, said in found.items())
)


def reading_of(key: str, value: Decimal, is_limit: bool) -> Reading:
    quantity = QUANTITIES[key]
    is_limit = is_limit and quantity.has_limit
    typed = f"<{value}" if is_limit else str(value)
    return Reading(key, value.quantize(Decimal("0.0001")), quantity.units[-1], typed, is_limit)


READINGS = st.lists(
    st.builds(reading_of, st.sampled_from(sorted(QUANTITIES)), TENTHS, st.booleans()),
    unique_by=lambda each: each.quantity,
    max_size=5,
).map(tuple)
KICK = st.builds(
    Timed,
    st.datetimes(datetime(2000, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC)).map(
        lambda moment: moment.replace(microsecond=moment.microsecond // 1000 * 1000)
    ),
    st.decimals(min_value="0.001", max_value="999", places=3),
)
SPOT = st.builds(
    Spot,
    st.integers(1, 9),
    st.integers(1, 20),
    TENTHS,
    st.sampled_from(["", *FlowType.values]),
    st.none() | TENTHS,
    st.lists(KICK, max_size=3).map(tuple),
)
SPOTS = st.lists(SPOT, unique_by=lambda each: each.number, max_size=4).map(
    lambda rows: tuple(sorted(rows, key=lambda each: each.number))
)
SUBMISSIONS = st.builds(
    Submission,
    id=st.uuids(),
    site=st.uuids(),
    visited_on=st.dates(),
    started_at=CLOCK,
    ended_at=CLOCK,
    recorder=st.none() | st.uuids(),
    partner=st.none() | st.uuids(),
    partner_name=WORDS,
    water_level=st.sampled_from(["", *WaterLevel.values]),
    clarity=st.sampled_from(["", *Clarity.values]),
    weather=st.sampled_from(["", *Weather.values]),
    pollution_signs=WORDS,
    notes=WORDS,
    fraction_sorted=st.sampled_from(["", "1/4", "6/30"]),
    spots=SPOTS,
    measurements=READINGS,
    counts=COUNTS,
)


@fuzz(300)
@given(submission=SUBMISSIONS)
def test_it_reads_back_what_it_writes(submission: Submission) -> None:
    assert parse_submission(as_data(submission)) == submission


@fuzz(200)
@given(submission=SUBMISSIONS)
def test_it_finds_no_difference_between_a_visit_and_itself(submission: Submission) -> None:
    assert differences(submission, parse_submission(as_data(submission))) == {}


def without_wording(submission: Submission) -> Submission:
    """What counts as the same: not how a number was typed, and not the order of the lines."""
    readings = sorted(submission.measurements, key=lambda each: each.quantity)
    return replace(
        submission,
        measurements=tuple(replace(each, as_typed="") for each in readings),
        counts=tuple(sorted(submission.counts, key=lambda each: each.field)),
    )


PARTS = st.sampled_from(
    ["visited_on", "started_at", "notes", "partner_name", "spots", "measurements", "counts", "fraction_sorted"]
)


@fuzz(300)
@given(before=SUBMISSIONS, other=SUBMISSIONS, parts=st.sets(PARTS, max_size=3))
def test_it_finds_a_difference_exactly_where_there_is_one(
    before: Submission, other: Submission, parts: set[str]
) -> None:
    after = replace(before, **{part: getattr(other, part) for part in parts})
    changes = differences(before, after)
    assert (not changes) == (without_wording(before) == without_wording(after))
    assert {path.partition(".")[0] for path in changes} <= parts
    assert all(old != new for old, new in changes.values())


@fuzz(200)
@given(before=SUBMISSIONS, after=SUBMISSIONS)
def test_its_differences_turned_round_are_those_of_the_way_back(before: Submission, after: Submission) -> None:
    there, back = differences(before, after), differences(after, before)
    assert there == {path: [new, old] for path, (old, new) in back.items()}


def possible(cast: Cast, submission: Submission, day: int = 1) -> Submission:
    """The same as a visit that no rule stops: by a volunteer of the group, yesterday."""
    person = cast.volunteer.pk
    return replace(
        submission,
        # A number of its own: one that comes twice is a resend.
        id=uuid4(),
        site=cast.site.pk,
        visited_on=days_ago(day),
        started_at=None,
        ended_at=None,
        recorder=person,
        partner=None,
        spots=(Spot(1, 3, Decimal(30), timed=submission.spots[0].timed if submission.spots else ()),),
        measurements=(),
    )


@pytest.mark.django_db
@fuzz(25)
@given(submission=SUBMISSIONS)
def test_it_saves_all_that_was_said_and_scores_it_as_the_scoring_does(
    cast: Cast, submission: Submission
) -> None:
    said = possible(cast, submission)
    visit = submit_visit(person=cast.person("volunteer"), submission=said).visit
    saved = Visit.objects.of_group(cast.group).get(pk=visit.pk)
    assert differences(said, submission_of(saved)) == {}
    assert scores_of(saved) == expected_scores(saved, said)


def scores_of(visit: Visit) -> dict[str, Any]:
    """Each index with its value and span, or None for one the counts or the list cannot support."""
    rows = visit.scores.filter(is_current=True)
    return {row.index: None if row.why_none else (row.value, row.low, row.high) for row in rows}


def expected_scores(visit: Visit, said: Submission) -> dict[str, Any]:
    """The same by the scoring alone, straight from what was said."""
    share = float(Fraction(said.fraction_sorted or "1"))
    scores = score_sample([Count(each.taxon, each.count, each.low, each.high, share) for each in said.counts])
    missing = reasons_of(visit.recording_list)
    return {
        key: None if score.why_none or missing[key] else (score.value, score.low, score.high)
        for key, score in scores.items()
    }


def as_sheet(submission: Submission) -> bytes:
    """The counts of a visit as a sheet of long rows, as a group might have kept them."""
    rows = ["site,date,recorder,fraction_sorted,taxon,count"]
    for each in submission.counts:
        amount = as_data(replace(submission, counts=(each,)))["counts"][0]
        written = amount.get("count") or amount.get("range") or "present"
        day = submission.visited_on.isoformat()
        rows.append(f"AB1,{day},Old Hand,{submission.fraction_sorted},{each.taxon},{written}")
    return "\n".join(rows).encode()


@pytest.mark.django_db
@fuzz(20)
@given(submission=SUBMISSIONS)
def test_a_sheet_of_a_visit_scores_as_the_visit_did(cast: Cast, submission: Submission) -> None:
    said = possible(cast, submission, day=400)
    sheet = check_sheet(group=cast.group, sheet=read_sheet(io.BytesIO(as_sheet(said)), "old.csv"))
    assert sheet.problems == ()
    (loaded,) = sheet.submissions
    # A sheet has no column for the key.
    told = tuple(replace(each, by_key=False) for each in said.counts)
    assert differences(replace(said, counts=loaded.counts), replace(said, counts=told)) == {}
    assert loaded.fraction_sorted == said.fraction_sorted
    # A sheet's visit is known again by its site and day, so each one makes room for the next.
    with transaction.atomic():
        coordinator = cast.person("coordinator")
        visit = submit_visit(person=coordinator, submission=loaded, past_record=True).visit
        assert scores_of(visit) == expected_scores(visit, said)
        transaction.set_rollback(True)
