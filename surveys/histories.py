"""The audit trail of a site or visit, in words: who changed what from what to what, when and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from portal.accounts.models import Group
from portal.accounts.prepared import planned
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.audit.gaps import unexplained_changes
from portal.audit.kinds import change_in_words
from portal.audit.models import AuditEntry, RowChange
from portal.audit.services import history_at
from portal.audit.words import way_of
from surveys.forms.visit import VisitForm
from surveys.measuring.quantities import QUANTITIES
from surveys.models import Site, Visit
from surveys.submission.writing import PRESENT

VERBS: dict[str, tuple[str | Promise, str]] = {
    "site.created": (gettext_lazy("Site added"), "site"),
    "site.changed": (gettext_lazy("Site changed"), "edit"),
    "visit.submitted": (gettext_lazy("Visit submitted"), "visit"),
    "visit.imported": (gettext_lazy("Visit loaded from a spreadsheet"), "download"),
    "visit.mended": (gettext_lazy("Visit mended and sent again"), "edit"),
    "visit.corrected": (gettext_lazy("Visit corrected"), "edit"),
    "visit.approved": (gettext_lazy("Visit approved"), "ok"),
    "visit.returned": (gettext_lazy("Visit returned to its recorder"), "back"),
    "visit.list_put_right": (gettext_lazy("Put on the new version of its recording list"), "edit"),
    "visit.asked": (gettext_lazy("Question to the recorder"), "mail"),
    "visit.answered": (gettext_lazy("Answer of the recorder"), "ok"),
    "finding.decided": (gettext_lazy("Finding decided"), "ok"),
}
# The end of a path that speaks of how the name was found.
BY_KEY = ".by_key"
PARTS = {
    "flow_type": gettext_lazy("flow type"),
    "kicks": gettext_lazy("kicks"),
    "timed": gettext_lazy("kicks timed by the phone"),
    "seconds": gettext_lazy("seconds"),
    "depth_cm": gettext_lazy("depth, cm"),
}
# Columns that no form of ours has, as a change past the portal names them.
COLUMNS = {
    "rows": gettext_lazy("How many"),
    "id": gettext_lazy("Number of the record"),
    "visit_id": gettext_lazy("Visit"),
    "site_id": gettext_lazy("Site"),
    "group_id": gettext_lazy("Group"),
    "spot_id": gettext_lazy("Spot"),
    "taxon": gettext_lazy("Taxon"),
    "recorded_as": gettext_lazy("Recorded as"),
    "low": gettext_lazy("Lowest"),
    "high": gettext_lazy("Highest"),
    "by_key": gettext_lazy("Found with the key"),
    "as_typed": gettext_lazy("As typed"),
    "is_current": gettext_lazy("In force"),
}


@dataclass(frozen=True)
class Change:
    """One field, before and after, as text."""

    label: str
    old: str
    new: str


@dataclass(frozen=True)
class Event:
    """One entry of the trail."""

    when: datetime
    who: str
    what: str
    icon: str
    reason: str
    changes: tuple[Change, ...]
    way: str = ""


def events_of(entries: Iterable[AuditEntry], hidden: tuple[str, ...] = ()) -> list[Event]:
    """The trail, newest first, without the fields whose paths begin with one of `hidden`."""
    return [_event(entry, hidden) for entry in reversed(list(entries))]


def trail_of(thing: Site | Visit, group: Group, hidden: tuple[str, ...] = ()) -> list[Event]:
    """All that happened to a site or visit, newest first, with what was done past the portal (two queries).

    `hidden` are the beginnings of paths that the reader may not see.
    """
    told = events_of(_entries(group, thing._meta.label_lower, thing.pk), hidden)
    untold = [_untold(change, hidden) for change in unexplained_changes(thing)]
    return sorted([*told, *untold], key=lambda event: event.when, reverse=True) if untold else told


@planned
def _entries(group: Group, kind: str, number: UUID) -> GroupOwnedQuerySet[AuditEntry]:
    return history_at(group.pk, kind, number)


def _untold(change: RowChange, hidden: tuple[str, ...]) -> Event:
    """A change that no entry explains: whoever made it had the database's own password."""
    named = sorted(name for name in {*change.before, *change.after} if not name.startswith(hidden))
    changes = [_change(name, [change.before.get(name), change.after.get(name)]) for name in named]
    who = _("by the database's account “%(name)s”") % {"name": change.database_user}
    return Event(change.at, who, change_in_words(change), "danger", "", tuple(changes))


def _event(entry: AuditEntry, hidden: tuple[str, ...]) -> Event:
    what, icon = VERBS.get(entry.verb, (entry.verb.replace(".", " ").replace("_", " "), "info"))
    changes = tuple(_change(path, pair) for path, pair in entry.changes.items() if not path.startswith(hidden))
    return Event(entry.at, entry.actor_name, str(what), icon, entry.reason, changes, way_of(entry))


def _change(path: str, pair: Any) -> Change:
    old, new = pair if isinstance(pair, list) and len(pair) == 2 else ("", pair)
    return Change(label_of(path), _words(path, old), _words(path, new))


def _words(path: str, value: Any) -> str:
    if value in (None, "", [], {}):
        return _("nothing")
    if value == PRESENT and path.startswith(("counts.", "whole_tray.")):
        return _("seen, not counted")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, dict):
        return " ".join(str(part) for part in value.values() if part not in (None, ""))
    return _choice(path, str(value))


def _choice(path: str, value: str) -> str:
    """The words of a coded value ("spate"), or the value itself."""
    for model in (Visit, Site):
        field = _field(model, path)
        choices = dict(getattr(field, "flatchoices", ()) or ())
        if value in choices:
            return str(choices[value])
    return value


def _field(model: type[Visit] | type[Site], path: str) -> Any:
    return next((field for field in model._meta.get_fields() if field.name == path), None)


def label_of(path: str) -> str:
    """A field's label, from its path: "spots.1.seconds" is "Spot 1, seconds"."""
    kind, _dot, rest = path.partition(".")
    if kind == "spots" and rest:
        number, _dot, part = rest.partition(".")
        name = _("Spot %(number)s") % {"number": number}
        return f"{name}, {PARTS.get(part, part)}" if part else name
    if kind == "measurements" and rest:
        quantity = QUANTITIES.get(rest.partition(".")[0])
        return str(quantity.label) if quantity else rest
    if kind in ("counts", "whole_tray") and rest.endswith(BY_KEY):
        return _("%(name)s, found with the key") % {"name": label_of(path.removesuffix(BY_KEY))}
    if kind == "whole_tray":
        return _("%(name)s, whole tray") % {"name": rest}
    return rest if kind == "counts" else _plain_label(path)


def _plain_label(path: str) -> str:
    declared = VisitForm.declared_fields.get(path)
    if declared:
        return str(declared.label)
    if path in COLUMNS:
        return str(COLUMNS[path])
    label = getattr(_field(Site, path), "verbose_name", "") or path.removesuffix("_id").replace("_", " ")
    return str(label)[:1].upper() + str(label)[1:]
