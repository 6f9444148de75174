"""The evidence pack: all that is known of an incident as one tagged PDF, with its chain for a later reader."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from PIL import Image
from weasyprint import Attachment

from alerts.chain.checking import check_chain
from alerts.chain.course import steps_of
from alerts.chain.facts import PEOPLE
from alerts.chain.low_visits import low_visits
from alerts.chain.reading import NameRule, course_for, name_rule, sealed_steps, steps_json
from alerts.charts.of_site import draw_site, site_points, site_rows
from alerts.evidence.of_incident import evidence_by, record_of, stands
from alerts.evidence.of_visit import Evidence
from alerts.judging.records import SiteRecord
from alerts.models import Incident, IncidentEvent
from alerts.repeats.wanted import repeat_shown
from portal.accounts.access import Person
from portal.audit.models import AuditEntry
from portal.audit.services import histories_of
from surveys.histories import Event, events_of, label_of
from surveys.models import Photo, Visit
from surveys.paper.typesetting import as_pdf, lay_out, style_text
from surveys.submission.placing import POSITION
from surveys.visits.parts import shown_photos

CHART = (660, 240)
RIVER_WIDTH = 460
# Long side in pixels: sharp in print at the size shown, small enough for e-mail.
PHOTO_PIXELS = 1400
STEPS_FILE = "steps.json"


@dataclass(frozen=True)
class LowVisit:
    """One visit of the incident: its evidence, where it stands on a trigger, and all that was changed in it."""

    visit: Visit
    evidence: Evidence | None
    events: list[Event]


def make_pack(incident: Incident, person: Person | None) -> bytes:
    """The pack as PDF/UA-1 for one reader; outside the group only the coordinator to call is named.

    The steps go along as an embedded file, from which every seal can be recomputed.
    """
    names, steps = name_rule(incident, person), steps_of(incident)
    html = render_to_string("alerts/evidence_pack.html", pack_context(incident, person, names, steps))
    attached = Attachment(
        string=steps_json(incident, names, steps),
        name=STEPS_FILE,
        description=_("The steps of the incident with their seals"),
        relationship="Data",
    )
    return as_pdf(lay_out(html, [style_text("css/evidence.css")]), [attached])


def pack_name(incident: Incident) -> str:
    """The name under which the file is saved."""
    return f"incident-{incident.reference}.pdf"


def pack_context(
    incident: Incident, person: Person | None, names: NameRule, steps: Sequence[IncidentEvent]
) -> dict[str, Any]:
    """What the pack shows this reader, in as many queries for many low visits as for one."""
    visits = low_visits(incident)
    record, histories = record_of(visits), histories_of(visits, incident.group_id)
    low = [_low_visit(each, names, record, histories[each.pk]) for each in visits]
    evidence = next((each.evidence for each in low if each.evidence), None)
    return {
        "incident": incident,
        "site": incident.site,
        "evidence": evidence,
        "visits": low,
        "for_member": names.for_member,
        "caller": names.caller,
        "photos": _photos(visits),
        "repeat": repeat_shown(incident, person, visits[0] if visits else None, record),
        "course": course_for(incident, names, steps),
        "chain": check_chain(incident, steps, visits),
        "links": sealed_steps(steps),
        "made_at": timezone.now(),
        "steps_file": STEPS_FILE,
        "language": get_language() or "en",
        **_drawn(incident, evidence, record),
    }


def _low_visit(
    visit: Visit, names: NameRule, record: SiteRecord | None, history: Iterable[AuditEntry]
) -> LowVisit:
    # On paper a record is read from its beginning.
    # Where somebody's phone was is nobody's but the group's: the pack tells the site's place.
    events = events_of(history, hidden=(POSITION,))[::-1]
    return LowVisit(
        visit=visit,
        evidence=evidence_by(visit, record) if stands(visit) else None,
        events=events if names.for_member else [nameless(each) for each in events],
    )


def nameless(event: Event) -> Event:
    """An entry of a visit's history as an agency reads it: without the people of the group."""
    people = {label_of(path) for path in PEOPLE}
    changes = tuple(each for each in event.changes if each.label not in people)
    # A key may bear a name.
    return replace(event, who=_("the group"), changes=changes, way="")


def _drawn(incident: Incident, evidence: Evidence | None, record: SiteRecord | None) -> dict[str, Any]:
    """The site's scores with the table behind them, and the river about the site."""
    if evidence is None:
        return {}
    index = evidence.method.key
    fits = record is not None and record.index == index
    points, lines = site_points(incident.site, index, record=record if fits else None)
    drawing = draw_site(incident.site, index, points, lines, emphasis=evidence.window, size=CHART)
    return {
        "chart": drawing,
        "chart_rows": site_rows(points, lines),
        "river_drawing": evidence.river.drawing(RIVER_WIDTH),
    }


def _photos(visits: list[Visit]) -> list[dict[str, str]]:
    days = {each.pk: date_format(each.visited_on, "j F Y") for each in visits}
    return [_photo(each, days[each.visit_number]) for each in shown_photos(visits)]


def _photo(photo: Photo, day: str) -> dict[str, str]:
    words = _("Picture from the visit of %(day)s") % {"day": day}
    return {"src": _as_data(photo), "alt": photo.caption or words, "caption": photo.caption, "day": day}


def _as_data(photo: Photo) -> str:
    """The picture as a data address, since the typesetter fetches nothing."""
    with photo.file.open("rb") as file, Image.open(file) as picture:
        small = picture.convert("RGB")
        small.thumbnail((PHOTO_PIXELS, PHOTO_PIXELS))
        out = io.BytesIO()
        small.save(out, "JPEG", quality=82)
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode()
