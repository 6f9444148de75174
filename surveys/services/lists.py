"""Recording lists of a group's own: made, changed by putting a new version in its place, retired."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change, record_change_of_each
from scoring.recording_lists import FAMILY_OR_FINER
from scoring.taxa import find_taxon
from surveys.errors import NotPossible
from surveys.lists.lines import ListLine
from surveys.lists.recording import open_sites_with, sites_with
from surveys.models import ListTaxon, RecordingList, Visit
from surveys.models.lists import ListLevel
from surveys.services.rescoring import request_rescoring

LONGEST_SLUG = 50


@transaction.atomic
def create_list(*, person: Person, group: Group, name: str, lines: Sequence[ListLine]) -> RecordingList:
    """Make a list of the group's own, in its first version."""
    require(person, "list.manage", group)
    # Two coordinators may choose one name at once: they queue for the group's row.
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)
    made = _write(group, _free_slug(group, name), 1, name, lines)
    record_change(actor=person, verb="list.created", thing=made, changes={"name": [None, name]})
    return made


@transaction.atomic
def change_list(
    *,
    person: Person,
    recording_list: RecordingList,
    name: str,
    lines: Sequence[ListLine],
    puts_right: bool = False,
) -> RecordingList:
    """Put a new version in the list's place: sites go on with it, visits keep the version they were made on.

    With `puts_right` the old version was a mistake: its visits go over to the new one, and a run is ordered
    that scores them by it. Raises NotPossible for a version that was replaced already, and when nothing was
    changed.
    """
    require(person, "list.manage", recording_list)
    old = RecordingList.objects.select_for_update().get(pk=recording_list.pk)
    if old.retired_at:
        raise NotPossible(_("Somebody has changed this list in the meantime. Look at its newest version."))
    taxa = list(old.taxa.all())
    if name == old.name and [ListLine(each.taxon, each.label, each.section) for each in taxa] == list(lines):
        raise NotPossible(_("Nothing was changed."))
    old.retired_at = timezone.now()
    old.save(update_fields=["retired_at"])
    assert old.group is not None
    new = _write(old.group, old.slug, old.version + 1, name, lines)
    _move_sites(person, old, new)
    record_change(actor=person, verb="list.changed", thing=new, changes=_changes(old, taxa, name, lines))
    if puts_right:
        _move_visits(person, old, new)
    return new


@transaction.atomic
def retire_list(*, person: Person, recording_list: RecordingList) -> None:
    """Take a list of the group's own out of use: no site can be given it, visits made on it keep it.

    Raises NotPossible for a version that is out of use already, and while an open site is recorded on it: the
    message names the sites.
    """
    require(person, "list.manage", recording_list)
    retired = RecordingList.objects.select_for_update().get(pk=recording_list.pk)
    if retired.retired_at:
        raise NotPossible(_("This list is out of use already."))
    assert retired.group is not None
    sites = [str(site) for site in open_sites_with(retired, retired.group, timezone.localdate())]
    if sites:
        raise NotPossible(
            _("Sites are still recorded on it: %(sites)s. Give them another list first.")
            % {"sites": ", ".join(sites)}
        )
    retired.retired_at = timezone.now()
    retired.save(update_fields=["retired_at"])
    changes = {"in_use": [True, False], "version": [retired.version, retired.version]}
    record_change(actor=person, verb="list.retired", thing=retired, changes=changes)


def _write(group: Group, slug: str, version: int, name: str, lines: Sequence[ListLine]) -> RecordingList:
    made = RecordingList.objects.create(
        group=group, slug=slug, version=version, name=name, level=_level_of(lines)
    )
    ListTaxon.objects.bulk_create(
        ListTaxon(
            recording_list=made,
            position=position,
            taxon=line.taxon,
            label=line.label,
            section=line.section,
        )
        for position, line in enumerate(lines, start=1)
    )
    return made


def _level_of(lines: Sequence[ListLine]) -> ListLevel:
    taxa = [find_taxon(line.taxon) for line in lines]
    is_fine = all(taxon is not None and taxon.rank in FAMILY_OR_FINER for taxon in taxa)
    return RecordingList.Level.FAMILY if is_fine else RecordingList.Level.GROUP


def _free_slug(group: Group, name: str) -> str:
    """A short name that no list of the group has yet."""
    base = slugify(name)[:LONGEST_SLUG] or "list"
    taken = set(RecordingList.objects.filter(group=group).values_list("slug", flat=True))
    return next(
        slug for slug in (base, *(f"{base}-{n}" for n in range(2, len(taken) + 3))) if slug not in taken
    )


def _move_sites(person: Person, old: RecordingList, new: RecordingList) -> None:
    assert old.group is not None
    sites = list(sites_with(old, old.group).select_for_update())
    for site in sites:
        site.recording_list = new
        site.save(update_fields=["recording_list"])
        changes = {"recording_list": [f"{old.name} {old.version}", f"{new.name} {new.version}"]}
        record_change(actor=person, verb="site.changed", thing=site, changes=changes)


def _move_visits(person: Person, old: RecordingList, new: RecordingList) -> None:
    """Take the old version's visits over and have them scored by the new one, in the background."""
    assert old.group is not None
    found = Visit.objects.of_group(old.group).filter(recording_list=old)
    # By number, as a run of scoring locks them, so that the two never wait for each other in a ring.
    visits = list(found.order_by("pk").select_for_update(no_key=True).only("pk", "group"))
    words = {"name": new.name, "new": new.version, "old": old.version}
    why = _("Version %(new)d of the list “%(name)s” puts version %(old)d right.") % words
    changes = {"recording_list": [f"{old.name} {old.version}", f"{new.name} {new.version}"]}
    record_change_of_each(actor=person, verb="visit.list_put_right", things=visits, changes=changes, reason=why)
    found.update(recording_list=new)
    if visits:
        request_rescoring(person=person, group=old.group, reason=why)


def _changes(
    old: RecordingList, taxa: Sequence[ListTaxon], name: str, lines: Sequence[ListLine]
) -> dict[str, list[object]]:
    before, after = [each.taxon for each in taxa], [line.taxon for line in lines]
    found: dict[str, list[object]] = {"version": [old.version, old.version + 1]}
    if name != old.name:
        found["name"] = [old.name, name]
    gone = [taxon for taxon in before if taxon not in after]
    come = [taxon for taxon in after if taxon not in before]
    if gone or come:
        found["taxa"] = [", ".join(gone), ", ".join(come)]
    return found
