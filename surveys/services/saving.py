"""Writes the parts of a visit: what services share who submit, mend and correct."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.utils.translation import gettext as _

from portal.accounts.access import Person
from portal.accounts.languages import speaking_to
from surveys.contexts import context_for
from surveys.models import Measurement, Site, SpotEffort, TaxonCount, TimedKick, Visit
from surveys.rules import Checked, errors_in, findings_in
from surveys.signals import visit_judged
from surveys.submission.types import InvalidSubmission, Position, Problem, Spot, Submission

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


def write_parts(visit: Visit, submission: Submission) -> None:
    """Write spots with their timed kicks, readings and counts."""
    _write_spots(visit, submission.spots)
    Measurement.objects.bulk_create(
        Measurement(
            visit=visit,
            quantity=reading.quantity,
            unit=reading.unit,
            as_typed=reading.as_typed,
            value=reading.value,
            is_below_limit=reading.is_below_limit,
        )
        for reading in submission.measurements
    )
    TaxonCount.objects.bulk_create(
        TaxonCount(
            visit=visit,
            taxon=entry.taxon,
            recorded_as=entry.recorded_as,
            count=entry.count,
            low=entry.low,
            high=entry.high,
            whole_tray=entry.whole_tray,
            by_key=entry.by_key,
        )
        for entry in submission.counts
    )


def _write_spots(visit: Visit, spots: Sequence[Spot]) -> None:
    efforts = SpotEffort.objects.bulk_create(
        SpotEffort(
            visit=visit,
            number=spot.number,
            flow_type=spot.flow_type,
            kicks=spot.kicks,
            seconds=spot.seconds,
            depth_cm=spot.depth_cm,
        )
        for spot in spots
    )
    TimedKick.objects.bulk_create(
        TimedKick(spot=effort, number=number, started_at=kick.started_at, seconds=kick.seconds)
        for spot, effort in zip(spots, efforts, strict=True)
        for number, kick in enumerate(spot.timed, start=1)
    )


def rewrite_parts(visit: Visit, submission: Submission) -> None:
    """Put the submission's parts in the place of the saved ones; the audit trail keeps what they were."""
    # Replaced whole: matching rows one by one would save nothing, the audit row names what changed.
    for parts in (visit.spots, visit.measurements, visit.counts):
        parts.all().delete()
    write_parts(visit, submission)


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


def acting_id(person: Person) -> UUID:
    """The account that acts; raises PermissionDenied for nobody, whom every access rule turns away before."""
    if person.user_id is None:
        raise PermissionDenied
    return person.user_id


def require_same_site(visit: Visit, submission: Submission) -> None:
    """A revision stays with its visit and site; raises InvalidSubmission otherwise."""
    if submission.site != visit.site_id or submission.id != visit.pk:
        message = _("A visit stays with its site. Return it, and enter it again for the right site.")
        raise InvalidSubmission([Problem("site", message, "unknown_site")])


def tell(visit: Visit, event: str, person: Person) -> None:
    """Tell the floor above, inside the transaction."""
    visit_judged.send(sender=Visit, visit=visit, event=event, person=person)
