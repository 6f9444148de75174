"""Words of the rota's pages: what speaks against somebody, and the course of a planned visit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from types import MappingProxyType

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.audit.models import AuditEntry
from portal.audit.templatetags.trail import came
from surveys.rota.volunteers import Obstacle

FITS: Mapping[str, Promise] = MappingProxyType(
    {
        "": _("can"),
        "declined": _("has said that they cannot"),
        "silent": _("has not said when they can"),
        Obstacle.UNTRAINED: _("not trained"),
        Obstacle.TOO_FAR: _("far away"),
        Obstacle.CANNOT: _("not one of their days"),
        Obstacle.BUSY: _("goes elsewhere that day"),
        Obstacle.FULL: _("has as many visits as they offered"),
    }
)
VERBS: Mapping[str, Promise] = MappingProxyType(
    {
        "planned_visit.added": _("put into the draft"),
        "planned_visit.moved": _("moved"),
        "planned_visit.published": _("published"),
        "planned_visit.person_added": _("put somebody down"),
        "planned_visit.person_removed": _("took somebody off"),
        "planned_visit.person_left": _("somebody has left the group"),
        "planned_visit.called_off": _("called off"),
        "rota.accepted": _("said yes"),
        "rota.declined": _("cannot go"),
        "rota.cover_asked": _("had others asked"),
        "rota.cover_taken": _("stepped in"),
        "rota.swap_offered": _("offered a swap"),
        "rota.swap_refused": _("said no to a swap"),
        "rota.swapped": _("swapped"),
    }
)


def fit_words(hindrance: str) -> str:
    """What speaks against somebody, or that they can."""
    return str(FITS[hindrance])


def course_of(entries: Iterable[AuditEntry]) -> list[dict[str, object]]:
    """The audit trail of a planned visit as `components/timeline.html` shows it."""
    return [
        {
            "when": each.at,
            "who": each.actor_name + came(each),
            "what": VERBS.get(each.verb, each.verb),
            "text": _details(each),
        }
        for each in entries
    ]


def _details(entry: AuditEntry) -> str:
    pairs = [[_plain(end) for end in pair if end is not None] for pair in entry.changes.values()]
    # What a change left alone, such as the hour of a moved day, would only be read as changed.
    parts = [" → ".join(pair) for pair in pairs if len(set(pair)) == len(pair)]
    return "; ".join(part for part in [*parts, entry.reason] if part)


def _plain(end: object) -> str:
    """A day as it is read, anything else as it stands."""
    try:
        return date_format(date.fromisoformat(str(end)), "j F Y")
    except ValueError:
        return str(end)
