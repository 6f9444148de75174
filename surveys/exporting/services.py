"""Making exports: at once where they are small, as a job where they are large, each with its audit row."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from typing import IO, Any

from django.conf import settings
from django.db import transaction
from django.db.models import Q
from django.http import QueryDict
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from portal.jobs.models import Job
from portal.jobs.services import request_job
from surveys.errors import NotPossible
from surveys.exporting.contents import CONTENTS, FILE_KINDS
from surveys.exporting.darwin.archive import publishable, write_archive
from surveys.exporting.darwin.dataset import Dataset
from surveys.exporting.models import PublishingTerms
from surveys.exporting.people import Names
from surveys.exporting.queries import chosen_visits
from surveys.exporting.writing import Progress
from surveys.forms import VisitFilter

# Two to five seconds of work; somebody waits for the page.
VISITS_AT_ONCE = 1_000
ARCHIVE = "darwin_core"
_IN_MEMORY = 5 * 1024 * 1024


@dataclass(frozen=True)
class Wish:
    """What somebody wants: a key of `CONTENTS` or "darwin_core", a key of `FILE_KINDS`, the choice of visits.

    `choice` is the query of the list's address ("site=...&year=2026"); empty means all visits.
    """

    content: str
    file_kind: str = "xlsx"
    choice: str = ""

    @property
    def action(self) -> str:
        """The right that it takes."""
        return "archive.make" if self.content == ARCHIVE else "export.run"

    @property
    def media_type(self) -> str:
        return "application/zip" if self.content == ARCHIVE else FILE_KINDS[self.file_kind].media_type

    def file_name(self, group: Group) -> str:
        """A name that says whose, what and when."""
        ending = "zip" if self.content == ARCHIVE else FILE_KINDS[self.file_kind].ending
        return f"{group.slug}-{self.content.replace('_', '-')}-{timezone.localdate().isoformat()}.{ending}"


def no_progress(_done: int) -> None:
    """For whoever does not tell how far it is."""


def condition(group: Group, choice: str) -> Q:
    """The choice of an address as a condition on the group's visits."""
    return VisitFilter(QueryDict(choice), group=group).chosen()


def visits_meant(group: Group, wish: Wish) -> int:
    """How many visits the export is about (one query beside those of the choice)."""
    chosen = condition(group, wish.choice)
    return (publishable(group, chosen) if wish.content == ARCHIVE else chosen_visits(group, chosen)).count()


def is_large(visits: int, wish: Wish) -> bool:
    """Whether it takes longer than somebody should wait for a page."""
    return wish.content != "sites" and visits > VISITS_AT_ONCE


@transaction.atomic
def make_export(*, person: Person, group: Group, wish: Wish, progress: Progress = no_progress) -> IO[bytes]:
    """The file, at its start; the audit trail says who took what and how many rows.

    Raises NotPossible for an archive without a licence. The file is whole before anything is sent: one that
    broke off in the middle would look like a whole one.
    """
    require(person, wish.action, group)
    with ExitStack() as unless_whole:
        out: IO[bytes] = unless_whole.enter_context(tempfile.SpooledTemporaryFile(_IN_MEMORY))
        rows = _write(person, group, wish, out, progress)
        changes: Mapping[str, Any] = {name: ["", value] for name, value in asdict(wish).items() if value}
        record_change(actor=person, verb="export.made", thing=group, changes={**changes, "rows": [0, rows]})
        out.seek(0)
        unless_whole.pop_all()
    return out


def _write(person: Person, group: Group, wish: Wish, out: IO[bytes], progress: Progress) -> int:
    chosen = condition(group, wish.choice)
    if wish.content == ARCHIVE:
        return write_archive(dataset_of(group), chosen, out, progress)
    table = CONTENTS[wish.content].make(group, chosen, Names.for_person(person, group))
    return FILE_KINDS[wish.file_kind].write(table, out, progress)


def dataset_of(group: Group) -> Dataset:
    """The group's archive with its terms; raises NotPossible while it has no licence."""
    terms = terms_of(group)
    if not terms.licence:
        raise NotPossible(_("Choose a licence first: without one nobody may use the archive."), "licence")
    return Dataset(group, terms, settings.BASE_URL + reverse("public_group", args=[group.slug]))


def terms_of(group: Group) -> PublishingTerms:
    """The group's terms, unsaved ones without a licence where it never set any."""
    return PublishingTerms.objects.of_group(group).first() or PublishingTerms(group=group)


def request_export(*, person: Person, group: Group, wish: Wish) -> Job:
    """Order a large export; the file is fetched from the job's page."""
    require(person, wish.action, group)
    if wish.content == ARCHIVE:
        dataset_of(group)
    words = _("Darwin Core Archive") if wish.content == ARCHIVE else str(CONTENTS[wish.content].label)
    return request_job(
        person=person,
        group=group,
        kind="export",
        parameters=asdict(wish),
        label=_("Export: %(what)s") % {"what": words},
        total=visits_meant(group, wish),
    )


@transaction.atomic
def set_terms(*, person: Person, group: Group, terms: PublishingTerms) -> None:
    """Save the group's terms as they were filled in; the audit trail keeps each change."""
    require(person, "archive.make", group)
    before = terms_of(group)
    named = [field.name for field in PublishingTerms._meta.fields if field.name not in ("id", "group")]
    changed = {name: [getattr(before, name), getattr(terms, name)] for name in named}
    terms.group = group
    terms.save()
    changes = {name: pair for name, pair in changed.items() if pair[0] != pair[1]}
    if changes:
        record_change(actor=person, verb="publishing_terms.changed", thing=terms, changes=changes)
