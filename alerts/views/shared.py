"""Steps that several pages share."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.http import FileResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _

from alerts.chain_check import check_chain
from alerts.charts import NARROW, draw_site, site_points, site_rows
from alerts.courses import course_of, steps_of
from alerts.evidence import Evidence, evidence_of
from alerts.models import Incident
from alerts.repeats import repeat_shown
from alerts.site_records import SiteRecord, site_record
from portal.accounts.access import Person, require
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from surveys.models import Photo, Site, Visit
from surveys.parts import laid_out, with_parts

PhotoUrl = Callable[[Photo], str]
TYPES = {"jpg": "image/jpeg", "jpeg": "image/jpeg", "png": "image/png", "webp": "image/webp"}


def find_site(group: Group, site_id: UUID) -> Site:
    """A site of the group, or 404."""
    return get_object_or_404(Site.objects.of_group(group).select_related("group"), id=site_id)


def find_incident(request: PortalRequest, incident_id: UUID, action: str) -> Incident:
    """The incident, for a member of its group or a named contact with an account; 404 for everybody else."""
    rows = Incident.objects.across_groups("a contact belongs to no group; the rule is asked next")
    incident = get_object_or_404(rows.select_related("site", "group"), id=incident_id)
    require(request.person, action, incident)
    if request.person.is_member(incident.group_id):
        request.current_group = incident.group
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
    evidence = next((_evidence(each, record) for each in visits if _stands(each)), None)
    return {
        "incident": incident,
        "site": incident.site,
        "visits": visits,
        "evidence": evidence,
        "chain": check_chain(incident, steps),
        "course": course_of(incident, for_member=for_member, steps=steps),
        "photos": photos_of(visits, incident.group, photo_url),
        "for_member": for_member,
        "repeat": repeat_shown(incident, person, visits[0] if visits else None, record),
        "forwards": incident.forwards.select_related("contact"),
        **charts_of(incident.site, evidence, record),
    }


def low_visits(incident: Incident) -> list[Visit]:
    """The incident's low visits, newest first, with all that their evidence needs."""
    found = incident.visits.select_related("verdict__trigger", "recorder", "site__downstream", "group")
    in_order = found.order_by("-visited_on", "-submitted_at")
    return laid_out(with_parts(in_order, "spots", "measurements", "counts", "findings", "scores"))


def record_of(visits: Sequence[Visit]) -> SiteRecord | None:
    """The site's record by the index of the latest visit's trigger; None where that visit stands on none."""
    if not visits or not _stands(visits[0]):
        return None
    trigger = visits[0].verdict.trigger
    return site_record(visits[0].site, trigger.index) if trigger else None


def _stands(visit: Visit) -> bool:
    return visit.verdict.trigger is not None and visit.verdict.value is not None


def _evidence(visit: Visit, record: SiteRecord | None) -> Evidence:
    trigger = visit.verdict.trigger
    fits = record is not None and trigger is not None and trigger.index == record.index
    return evidence_of(visit, visit.verdict, record if fits else None)


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


def photos_of(visits: Iterable[Visit], group: Group, photo_url: PhotoUrl) -> list[dict[str, str]]:
    """The pictures of these visits for `components/photo_grid.html`."""
    days = {visit.pk: visit.visited_on for visit in visits}
    photos = Photo.objects.of_group(group).filter(visit_number__in=list(days))
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
    answer["Cache-Control"] = "private, max-age=3600"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return answer
