"""Kits: named, taken out of use, and cleaned."""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from surveys.errors import NotPossible, need_text
from surveys.models import Kit, KitCleaning


@transaction.atomic
def save_kit(
    *, person: Person, group: Group, kit: Kit | None, name: str, holds: str = "", is_retired: bool = False
) -> Kit:
    """Add a kit (None) or change one; raises NotPossible at the field when the name is blank or in use."""
    require(person, "kit.manage", kit or group)
    name = need_text(name, "name", _("Give the kit a name, as on its label."))
    # Two coordinators may choose one name at once: they queue for the group's row.
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)
    saved = kit or Kit(group=group)
    if Kit.objects.of_group(group).filter(name__iexact=name).exclude(pk=saved.pk).exists():
        raise NotPossible(_("Another kit of this group has this name."), "name")
    before = _plain(saved) if kit else {"name": None, "holds": None, "is_retired": None}
    saved.name, saved.holds = name, holds.strip()
    saved.retired_at = (saved.retired_at or timezone.now()) if is_retired else None
    saved.save()
    after = _plain(saved)
    changes = {key: [before[key], after[key]] for key in after if before[key] != after[key]}
    if changes:
        verb = "kit.changed" if kit else "kit.added"
        record_change(actor=person, verb=verb, thing=saved, changes=changes)
    return saved


def _plain(kit: Kit) -> dict[str, str | bool | None]:
    return {"name": kit.name, "holds": kit.holds, "is_retired": kit.retired_at is not None}


@transaction.atomic
def clean_kit(
    *, person: Person, kit: Kit, method: str, cleaned_on: date | None = None, note: str = ""
) -> KitCleaning:
    """Write down how a kit was cleaned, today unless said otherwise; raises NotPossible for a day to come."""
    require(person, "kit.clean", kit)
    today = timezone.localdate()
    day = cleaned_on or today
    if day > today:
        raise NotPossible(_("This day is still to come. Write it down once it is done."), "cleaned_on")
    made = KitCleaning.objects.create(
        kit=kit, method=method, cleaned_on=day, cleaned_by_id=person.user_id, note=note.strip()
    )
    changes = {"cleaned": [None, f"{day.isoformat()} {method}"]}
    record_change(actor=person, verb="kit.cleaned", thing=kit, changes=changes)
    return made
