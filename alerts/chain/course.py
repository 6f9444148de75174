"""The course of an incident as entries of a timeline."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from alerts.models import EventKind, Incident, IncidentEvent
from portal.audit.sealing import written_head

# Kind and icon of the mark beside each step; the words say the same.
MARKS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        EventKind.OPENED: ("danger", "below"),
        EventKind.HELD: ("caution", "waiting"),
        EventKind.TOLD: ("info", "mail"),
        EventKind.NOBODY_NAMED: ("danger", "danger"),
        EventKind.JOINED: ("danger", "below"),
        EventKind.UPDATED: ("caution", "edit"),
        EventKind.LIFTED: ("ok", "ok"),
        EventKind.CONFIRMED: ("ok", "ok"),
        EventKind.RETURNED: ("caution", "back"),
        EventKind.WITHDRAWN: ("ok", "close"),
        EventKind.ACKNOWLEDGED: ("ok", "ok"),
        EventKind.UNANSWERED: ("caution", "waiting"),
        EventKind.COORDINATORS_TOLD: ("danger", "phone"),
        EventKind.UNDELIVERABLE: ("danger", "mail"),
        EventKind.REMINDED: ("caution", "mail"),
        EventKind.INVESTIGATED: ("ok", "search"),
        EventKind.FORWARDED: ("info", "mail"),
        EventKind.QUIET: ("caution", "waiting"),
        EventKind.REPEAT_ASKED: ("caution", "waiting"),
        EventKind.REPEAT_TAKEN: ("info", "ok"),
        EventKind.REPEAT_MADE: ("info", "ok"),
        EventKind.REPEAT_LAPSED: ("danger", "waiting"),
        EventKind.NOTE: ("info", "edit"),
        EventKind.CLOSED: ("ok", "ok"),
    }
)


@dataclass(frozen=True)
class Entry:
    """One step as `components/timeline.html` shows it."""

    when: datetime
    who: str
    what: str
    text: str
    kind: str
    icon_name: str


def steps_of(incident: Incident) -> list[IncidentEvent]:
    """The steps in order, with contact and visit; `trail` is where the audit trail ends now (one query)."""
    found = incident.events.select_related("contact", "visit").annotate(trail=written_head())
    return list(found.order_by("sequence", "at", "id"))


def course_of(
    incident: Incident, *, for_member: bool, steps: Sequence[IncidentEvent] | None = None
) -> list[Entry]:
    """The steps in order; outside the group its members stay nameless. `steps`, where they are read already."""
    return [_entry(each, for_member) for each in (steps_of(incident) if steps is None else steps)]


def _entry(step: IncidentEvent, for_member: bool) -> Entry:
    kind, icon = MARKS[step.kind]
    return Entry(step.at, _who(step, for_member), step.get_kind_display(), _text(step, for_member), kind, icon)


def _who(step: IncidentEvent, for_member: bool) -> str:
    if not step.actor_name:
        return ""
    # A contact, whether by link or by account, is known to the agency; a volunteer is not.
    if for_member or step.contact_id or step.kind in (EventKind.ACKNOWLEDGED, EventKind.NOTE, EventKind.CLOSED):
        return step.actor_name
    return _("the group")


def shows_note(step: IncidentEvent, *, for_member: bool) -> bool:
    """Whether a reader may see a step's note: that of an undeliverable message holds an address."""
    return for_member or step.kind != EventKind.UNDELIVERABLE


def _text(step: IncidentEvent, for_member: bool) -> str:
    parts = [step.note] if shows_note(step, for_member=for_member) else []
    if step.contact and step.kind in (EventKind.TOLD, EventKind.REMINDED):
        parts.append(str(step.contact))
    if step.visit and step.kind not in (EventKind.TOLD, EventKind.HELD, EventKind.UNANSWERED):
        parts.append(_("Visit of %(day)s") % {"day": date_format(step.visit.visited_on, "j F Y")})
    return "\n".join(part for part in parts if part)
