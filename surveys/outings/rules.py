"""How a group goes out: its checklist and its times, or our own list of common practice until it writes one."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.models import Group
from surveys.models import OutingRules

PARTS: MappingProxyType[str, Promise] = MappingProxyType(
    {"before": _("Before you leave"), "at_water": _("At the water"), "after": _("Afterwards")}
)
# Common practice, no source; a coordinator replaces it by the group's own.
USUAL: MappingProxyType[str, tuple[Promise, ...]] = MappingProxyType(
    {
        "before": (
            _("River level and forecast looked at: below the site's limit, and not rising"),
            _("Permission holds, and its conditions are kept"),
            _("Partner confirmed: two adults"),
            _("Somebody on shore knows where we are and when we are back"),
            _("Phones charged; where there is signal is known"),
            _("Kit clean and dry since its last water"),
            _("Net, bucket, trays, pipette, lens, pots, pencil and sheet packed"),
            _("Throw line, first aid, gloves, wipes and spare clothes packed"),
        ),
        "at_water": (
            _("Bed visible and water at knee depth at most: if in doubt, stay out"),
            _("Way in and way out chosen; one of us watches from the bank"),
            _("Cuts covered"),
            _("Work upstream, keep off tree roots, wire and outfalls"),
        ),
        "after": (
            _("Animals returned; mud and plants left here"),
            _("Kit checked, rinsed and drained at the site"),
            _("Hands washed before eating"),
            _("Shore contact told that we are back"),
            _("Kit cleaned and hung up to dry at home, and that written down"),
        ),
    }
)


@dataclass(frozen=True)
class ChecklistPart:
    """One part of the checklist in the order of an outing: its key, its heading and its items."""

    key: str
    title: Promise | str
    lines: tuple[str, ...]


def rules_of(group: Group) -> OutingRules:
    """The group's rules; what applies until it writes some is an unsaved row (one query)."""
    return OutingRules.objects.of_group(group).first() or usual_rules(group)


def usual_rules(group: Group) -> OutingRules:
    """Rules of common practice, not saved."""
    return OutingRules(group=group, **{key: "\n".join(map(str, lines)) for key, lines in USUAL.items()})


def checklist_of(rules: OutingRules) -> list[ChecklistPart]:
    """The parts of the checklist that have items."""
    parts = (ChecklistPart(key, title, lines_of(getattr(rules, key))) for key, title in PARTS.items())
    return [part for part in parts if part.lines]


def lines_of(text: str) -> tuple[str, ...]:
    """One item a line, blank lines left out."""
    return tuple(line.strip() for line in text.splitlines() if line.strip())
