"""Writes the parts of a visit: what services share who submit, mend and correct."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS
from django.utils.translation import gettext as _

from portal.accounts.access import Person
from portal.accounts.languages import speaking_to
from portal.inserting import Gathered, insert_rows
from surveys.models import Measurement, Site, SpotEffort, TaxonCount, TimedKick, Visit
from surveys.past.contexts import context_for
from surveys.rules import Checked, errors_in, findings_in
from surveys.scores.scored import Values
from surveys.signals import JustTaken, visit_judged
from surveys.submission.types import InvalidSubmission, Position, Problem, Spot, Submission

_COLUMNS = tuple(str(each.column) for each in Visit._meta.concrete_fields)
_SAME_NAME = (
    "was_made",
    "not_made_reason",
    "visited_on",
    "started_at",
    "ended_at",
    "recorder_name",
    "partner_name",
    "water_level",
    "clarity",
    "weather",
    "weather_past_week",
    "checklist_done",
    "checklist_at",
    "fraction_sorted",
    "pollution_signs",
    "notes",
)


def visit_fields(submission: Submission) -> dict[str, Any]:
    """The visit's own columns, as a submission has them."""
    return {
        "recorder_id": submission.recorder,
        "partner_id": submission.partner,
        "kit_id": submission.kit,
        **_position_fields(submission.position),
        **{name: getattr(submission, name) for name in _SAME_NAME},
    }


def _position_fields(position: Position | None) -> dict[str, Any]:
    return {
        "position_latitude": position.latitude if position else None,
        "position_longitude": position.longitude if position else None,
        "position_accuracy_m": position.accuracy_m if position else None,
        "position_source": position.source if position else "",
    }


def insert_visits(visits: Iterable[Visit], into: Gathered | None = None) -> None:
    """Write the visits' own rows, as they stand; `into` as for `insert_rows`."""
    visits = list(visits)
    insert_rows(Visit, _COLUMNS, [[getattr(visit, name) for name in _COLUMNS] for visit in visits], into)
    for visit in visits:
        visit._state.adding, visit._state.db = False, DEFAULT_DB_ALIAS


def write_parts(said: Sequence[tuple[Visit, Submission]], into: Gathered | None = None) -> None:
    """Write spots with their timed kicks, readings and counts; `into` as for `insert_rows`."""
    _write_spots([(visit.pk, spot) for visit, submission in said for spot in submission.spots], into)
    insert_rows(
        Measurement,
        ("visit_id", "quantity", "unit", "as_typed", "value", "is_below_limit"),
        [
            (visit.pk, each.quantity, each.unit, each.as_typed, each.value, each.is_below_limit)
            for visit, submission in said
            for each in submission.measurements
        ],
        into,
    )
    insert_rows(
        TaxonCount,
        ("visit_id", "taxon", "recorded_as", "count", "low", "high", "whole_tray", "by_key"),
        [
            (
                visit.pk,
                each.taxon,
                each.recorded_as,
                each.count,
                each.low,
                each.high,
                each.whole_tray,
                each.by_key,
            )
            for visit, submission in said
            for each in submission.counts
        ],
        into,
    )


def _write_spots(spots: Sequence[tuple[UUID, Spot]], into: Gathered | None) -> None:
    rows = [(visit, s.number, s.flow_type, s.kicks, s.seconds, s.depth_cm) for visit, s in spots]
    insert_rows(SpotEffort, ("visit_id", "number", "flow_type", "kicks", "seconds", "depth_cm"), rows, into)
    timed = [(visit, spot) for visit, spot in spots if spot.timed]
    if timed:
        # The database counts spots up, so it must be asked for their numbers.
        if into is not None:
            into.write()
        _write_timed(timed)


def _write_timed(spots: Sequence[tuple[UUID, Spot]]) -> None:
    written = SpotEffort.objects.across_groups("of visits that are being written").order_by()
    numbers = written.filter(visit__in={visit for visit, _spot in spots}).values_list("visit", "number", "pk")
    keys = {(visit, number): key for visit, number, key in numbers}
    rows = [
        (keys[visit, spot.number], number, kick.started_at, kick.seconds)
        for visit, spot in spots
        for number, kick in enumerate(spot.timed, start=1)
    ]
    insert_rows(TimedKick, ("spot_id", "number", "started_at", "seconds"), rows)


def rewrite_parts(visit: Visit, submission: Submission) -> None:
    """Put the submission's parts in the place of the saved ones; the audit trail keeps what they were."""
    # Replaced whole: matching rows one by one would save nothing, the audit row names what changed.
    for parts in (visit.spots, visit.measurements, visit.counts):
        parts.all().delete()
    write_parts([(visit, submission)])


def check(
    submission: Submission, site: Site, *, past_record: bool = False, visit: Visit | None = None
) -> Checked:
    """Apply all rules; raises InvalidSubmission when there is an error, in the language spoken now."""
    # People who left the group since are still right on the visits they made.
    known = [each for each in (visit.recorder_id, visit.partner_id) if each] if visit else []
    context = context_for(submission, site, past_record=past_record, known=known)
    errors = errors_in(submission, context)
    if errors:
        raise InvalidSubmission(errors)
    # What is asked is kept for the group, and known again by its words when somebody else corrects the visit.
    with speaking_to(group=site.group):
        return Checked(errors, findings_in(submission, context))


def all_problems(refusal: InvalidSubmission, site: Site, visit: Visit | None = None) -> tuple[Problem, ...]:
    """What was refused, and the errors in what can be read all the same: everything is mended in one go."""
    if refusal.readable is None:
        return refusal.problems
    told = [each.field.replace("whole_tray", "counts", 1) for each in refusal.problems]
    try:
        check(refusal.readable, site, visit=visit)
    except InvalidSubmission as more:
        # Of a part that was read in part only, nothing can be said as a whole.
        return (*refusal.problems, *(each for each in more.problems if not _is_around(each.field, told)))
    return refusal.problems


def _is_around(path: str, told: Iterable[str]) -> bool:
    return any(f"{field}.".startswith(f"{path}.") for field in told)


def require_same_site(visit: Visit, submission: Submission) -> None:
    """A revision stays with its visit and site; raises InvalidSubmission otherwise."""
    if submission.site != visit.site_id or submission.id != visit.pk:
        message = _("A visit stays with its site. Return it, and enter it again for the right site.")
        raise InvalidSubmission([Problem("site", message, "unknown_site")])


def tell_of_new(said: Sequence[tuple[Visit, Submission]], values: Values, event: str, person: Person) -> None:
    """Tell the floor above of visits that were just taken in: of each by itself, of imported ones at once."""
    if event == "imported":
        visits = [visit for visit, _submission in said]
        visit_judged.send(sender=Visit, visits=visits, event=event, person=person)
        return
    for visit, submission in said:
        taken = JustTaken(submission, values[visit.pk])
        visit_judged.send(sender=Visit, visit=visit, event=event, person=person, taken=taken)


def tell(visit: Visit, event: str, person: Person) -> None:
    """Tell the floor above, inside the transaction."""
    visit_judged.send(sender=Visit, visit=visit, event=event, person=person)
