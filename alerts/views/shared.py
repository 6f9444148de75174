"""Steps that several pages share."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.http import FileResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _

from alerts.chain.checking import check_chain
from alerts.chain.course import course_of, steps_of
from alerts.chain.low_visits import low_visits
from alerts.charts.of_site import NARROW, draw_site, site_points, site_rows
from alerts.evidence.of_incident import evidence_by, record_of, stands
from alerts.evidence.of_visit import Evidence
from alerts.judging.records import SiteRecord
from alerts.models import Incident
from alerts.repeats.wanted import repeat_shown
from portal.accounts.access import Person, require
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.walls import opens
from surveys.models import Photo, Site, Visit
from surveys.outings.rivers import with_high_until
from surveys.visits.parts import shown_photos

PhotoUrl = Callable[[Photo], str]
TYPES = {"jpg": "image/jpeg", "jpeg": "image/jpeg", "png": "image/png", "webp": "image/webp"}


def find_site(group: Group, site_id: UUID) -> Site:
    """A site of the group, or 404."""
    return get_object_or_404(Site.objects.of_group(group).select_related("group"), id=site_id)


def find_incident(request: PortalRequest, incident_id: UUID, action: str) -> Incident:
    """The incident, for a member of its group or a named contact with an account; 404 for everybody else."""
    incident = _incident_for(request.person, incident_id, action)
    if request.person.is_member(incident.group_id):
        request.current_group = incident.group
    return incident


@opens("a contact belongs to no group; the rule says whose it is")
def _incident_for(person: Person, incident_id: UUID, action: str) -> Incident:
    rows = Incident.objects.across_groups("a contact belongs to no group; the rule is asked next")
    known = with_high_until(rows.select_related("site", "group"), timezone.now(), site="site")
    incident: Incident = get_object_or_404(known, id=incident_id)
    incident.is_of_page = True
    require(person, action, incident)
    return incident


def try_service(form: forms.BaseForm, service: Callable[[], object]) -> bool:
    """Call a service; what it refuses is put beside the fields of the form. True when it was done."""
    try:
        service()
    except ValidationError as refusal:
        form.add_error(None, refusal)
        return False
    return True


def incident_context(incident: Incident, *, person: Person | None, photo_url: PhotoUrl) -> Mapping[str, Any]:
    """What the incident page and the page behind a link show alike."""
    for_member = person is not None and person.is_member(incident.group_id)
    visits, steps = low_visits(incident), steps_of(incident)
    record = record_of(visits)
    evidence = next((evidence_by(each, record) for each in visits if stands(each)), None)
    return {
        "incident": incident,
        "site": incident.site,
        "visits": visits,
        "evidence": evidence,
        "chain": check_chain(incident, steps, visits),
        "course": course_of(incident, for_member=for_member, steps=steps),
        "photos": photos_of(visits, photo_url),
        "for_member": for_member,
        "repeat": repeat_shown(incident, person, visits[0] if visits else None, record),
        "forwards": incident.forwards.select_related("contact"),
        **charts_of(incident.site, evidence, record),
    }


def charts_of(site: Site, evidence: Evidence | None, record: SiteRecord | None) -> dict[str, Any]:
    """The site's chart for wide and narrow screens with the table behind it, and the window shaded."""
    if evidence is None:
        return {}
    index = evidence.method.key
    fits = record is not None and record.index == index
    points, lines = site_points(site, index, record=record if fits else None)
    window = evidence.window
    return {
        "chart_wide": draw_site(site, index, points, lines, emphasis=window),
        "chart_narrow": draw_site(site, index, points, lines, emphasis=window, size=NARROW),
        "chart_rows": site_rows(points, lines),
    }


def photos_of(visits: Iterable[Visit], photo_url: PhotoUrl) -> list[dict[str, str]]:
    """The pictures of these `low_visits` for `components/photo_grid.html`."""
    days = {visit.pk: visit.visited_on for visit in visits}
    photos = shown_photos(visits)
    return [
        {
            "url": photo_url(each),
            "alt": each.caption or _("Picture from the visit of %(day)s") % {"day": days[each.visit_number]},
            "caption": each.caption,
        }
        for each in photos
    ]


def photo_answer(incident: Incident, photo_id: UUID) -> FileResponse:
    """A picture of one of the incident's visits; 404 for any other."""
    own = list(incident.visits.values_list("pk", flat=True))
    photo = get_object_or_404(Photo.objects.filter(group=incident.group_id, visit_number__in=own), id=photo_id)
    suffix = str(photo.file.name).rpartition(".")[2].lower()
    answer = FileResponse(photo.file.open("rb"), content_type=TYPES.get(suffix, "application/octet-stream"))
    answer["Cache-Control"] = "private, no-store"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return answer
