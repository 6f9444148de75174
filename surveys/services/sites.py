"""Adding and changing sites."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from surveys.models import RecordingList, Site


@transaction.atomic
def save_site(*, person: Person, group: Group, site: Site | None, fields: Mapping[str, Any]) -> Site:
    """Add a site (None) or change one; raises Django's ValidationError with a message for each wrong field."""
    require(person, "site.edit", site or group)
    # One after the other: two changes at once could lead the water in a circle that neither saw.
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)
    fields = _with_place(fields)
    saved = site or Site(group=group)
    before = _plain(saved, fields) if site else dict.fromkeys(fields)
    for name, value in fields.items():
        setattr(saved, name, value)
    saved.full_clean(exclude={"id"})
    _require_consistent(saved)
    # Nothing but what was asked for: another coordinator may have changed the rest since the site was read.
    saved.save(update_fields=list(fields) if site and fields else None)
    _record(person, saved, before, _plain(saved, fields), "site.changed" if site else "site.created")
    return saved


def _with_place(fields: Mapping[str, Any]) -> Mapping[str, Any]:
    """What was typed for another place does not stay beside a new one: the form would lead back to the old."""
    is_moved = {"latitude", "longitude"} & fields.keys()
    return {"location_as_typed": "", **fields} if is_moved else fields


def _plain(site: Site, names: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _text(getattr(site, name)) for name in names}


def _text(value: Any) -> Any:
    if isinstance(value, models.Model):
        return str(value)
    return value if value is None or isinstance(value, bool | int | float | str) else str(value)


def _record(person: Person, site: Site, before: dict[str, Any], after: dict[str, Any], verb: str) -> None:
    changes = {name: [before[name], after[name]] for name in after if before[name] != after[name]}
    # A row that says "nothing changed" would bury those that say something.
    if changes:
        record_change(actor=person, verb=verb, thing=site, changes=changes)


def _require_consistent(site: Site) -> None:
    wrong = {**_downstream_problem(site), **_list_problem(site), **_period_problems(site)}
    if wrong:
        raise ValidationError(wrong)


def _downstream_problem(site: Site) -> dict[str, str]:
    below = site.downstream
    if below is None:
        return {}
    if below.group_id != site.group_id:
        return {"downstream": _("Choose a site of your own group.")}
    return (
        {"downstream": _("Water does not run in a circle: that site lies upstream.")} if _is_loop(site) else {}
    )


def _is_loop(site: Site) -> bool:
    # A river has no loops, and a page that follows it downstream would never end. Read anew: what came with the
    # request was read before it was this one's turn.
    below = dict(Site.objects.filter(group=site.group_id).values_list("pk", "downstream"))
    below[site.pk] = site.downstream_id
    passed, here = {site.pk}, site.downstream_id
    while here is not None:
        if here in passed:
            return True
        passed.add(here)
        here = below[here]
    return False


def _list_problem(site: Site) -> dict[str, str]:
    # Read again and held, so that nobody retires the list while the site is being given it.
    chosen = RecordingList.objects.select_for_update(no_key=True).get(pk=site.recording_list_id)
    if chosen.group_id not in (None, site.group_id):
        return {"recording_list": _("Choose one of your own lists or a built-in one.")}
    if chosen.retired_at and not _keeps_its_list(site):
        return {"recording_list": _("This list is out of use. Choose another one.")}
    return {}


def _keeps_its_list(site: Site) -> bool:
    """Whether a closed site goes on with the list that it has had."""
    stored = Site.objects.of_group(site.group).filter(pk=site.pk, recording_list=site.recording_list_id)
    return site.closed_on is not None and stored.exists()


def _period_problems(site: Site) -> dict[str, str]:
    message = _("The end is before the start.")
    wrong = {}
    if site.opened_on and site.closed_on and site.closed_on < site.opened_on:
        wrong["closed_on"] = message
    if site.permission_from and site.permission_until and site.permission_until < site.permission_from:
        wrong["permission_until"] = message
    return wrong
