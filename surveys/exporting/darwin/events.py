"""Visits as events."""

from __future__ import annotations

import json
from datetime import datetime

from django.utils import timezone

from surveys.exporting.darwin.dataset import Dataset, urn
from surveys.exporting.darwin.layout import Row
from surveys.models import Visit
from surveys.submission.numbers import plain_text

WITHHELD = "Notes, hazards and access of the site, and the names of people who did not agree to be named."

_POSITION_REMARKS = {
    "phone": "Coordinates of this visit, by a phone.",
    "photo": "Coordinates of this visit, from a picture.",
    "typed": "Coordinates of this visit, typed in.",
}


def event_row(visit: Visit, dataset: Dataset) -> Row:
    """One approved visit that was made."""
    return {
        "eventID": urn(visit.pk),
        "type": "Event",
        "modified": timezone.localdate(visit.reviewed_at).isoformat() if visit.reviewed_at else "",
        "language": "en",
        "license": dataset.terms.licence_address,
        "rightsHolder": dataset.holder,
        "datasetID": dataset.number,
        "datasetName": dataset.name,
        "informationWithheld": WITHHELD,
        **_when(visit),
        **_effort(visit),
        **_place(visit, dataset),
        "eventRemarks": _remarks(visit, dataset),
    }


def _when(visit: Visit) -> Row:
    day = visit.visited_on
    return {
        "eventDate": day.isoformat(),
        "eventTime": _times(visit),
        "year": day.year,
        "month": day.month,
        "day": day.day,
    }


def _times(visit: Visit) -> str:
    """Start, or start and end, each with its distance from UTC on that day: "10:00+01:00/11:10+01:00"."""
    zone = timezone.get_default_timezone()
    clocks = [each for each in (visit.started_at, visit.ended_at) if visit.started_at and each]
    moments = [datetime.combine(visit.visited_on, each, zone) for each in clocks]
    return "/".join(each.timetz().isoformat(timespec="minutes") for each in _with_offsets(moments))


def _with_offsets(moments: list[datetime]) -> list[datetime]:
    # A time alone has no day, so that a named zone could not tell summer from winter.
    return [each.replace(tzinfo=timezone.get_fixed_timezone(each.utcoffset() or 0)) for each in moments]


def _effort(visit: Visit) -> Row:
    spots = list(visit.spots.all())
    protocol = (
        "Kick sampling with a hand net; invertebrates sorted, named and counted, exactly or as a range; "
        f"recorded on the list {visit.recording_list.slug}, version {visit.recording_list.version}"
    )
    if not spots:
        return {"samplingProtocol": protocol}
    seconds = plain_text(sum((spot.seconds for spot in spots), start=spots[0].seconds * 0))
    kicks = sum(spot.kicks for spot in spots)
    return {
        "samplingProtocol": protocol,
        "sampleSizeValue": seconds,
        "sampleSizeUnit": "second",
        "samplingEffort": f"{len(spots)} spots, {kicks} kicks, {seconds} seconds of kicking",
    }


def _place(visit: Visit, dataset: Dataset) -> Row:
    site, place = visit.site, dataset.place_of_visit(visit)
    step = dataset.terms.blur
    return {
        "locationID": urn(site.pk),
        "waterBody": site.river,
        # A name such as "Old Mill" would give away what rounding hides.
        "locality": "" if dataset.is_blurred else site.name,
        "dynamicProperties": json.dumps({"siteCode": site.code}),
        "decimalLatitude": place.latitude,
        "decimalLongitude": place.longitude,
        "geodeticDatum": "EPSG:4326",
        "coordinateUncertaintyInMeters": "" if place.uncertainty_m is None else place.uncertainty_m,
        "dataGeneralizations": f"Coordinates rounded to {step} degree; locality withheld." if step else "",
    }


def _remarks(visit: Visit, dataset: Dataset) -> str:
    share = (
        f"{visit.fraction_sorted} of the tray was sorted; counts are those of the share."
        if visit.fraction_sorted
        else ""
    )
    late = "Entered from earlier records." if visit.is_past_record else ""
    place = _POSITION_REMARKS[visit.position_source] if dataset.tells_position(visit) else ""
    return " ".join(filter(None, (share, late, place)))
