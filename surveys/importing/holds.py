"""What keeps the visits of a sheet where they are: work that others have built on them."""

from __future__ import annotations

from collections.abc import Callable

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from portal.audit.models import AuditEntry
from surveys.models import ImportRun, Photo, Visit

Hold = Callable[[ImportRun, QuerySet[Visit]], list[str]]
_holds: list[Hold] = []


def on_undoing(hold: Hold) -> Hold:
    """Ask `hold(run, visits)` for sentences that say why these visits must stay; apps above register theirs."""
    if hold not in _holds:
        _holds.append(hold)
    return hold


def reasons_to_keep(run: ImportRun) -> list[str]:
    """Why a loaded sheet cannot be undone, in sentences; empty where it can."""
    visits = Visit.objects.of_group(run.group).filter(import_run=run)
    return [words for hold in _holds for words in hold(run, visits)]


@on_undoing
def approved_visits(_run: ImportRun, visits: QuerySet[Visit]) -> list[str]:
    """Somebody has looked at these and answers for them, even if they were taken back since."""
    numbers = visits.values("pk")
    entries = AuditEntry.objects.across_groups("narrowed by the visits of one group")
    told = entries.filter(verb="visit.approved", object_type="surveys.visit", object_id__in=numbers)
    return say_visits(
        visits.filter(pk__in=told.values("object_id")),
        ngettext_of("%(number)d visit was approved", "%(number)d visits were approved"),
    )


@on_undoing
def changed_visits(_run: ImportRun, visits: QuerySet[Visit]) -> list[str]:
    """What somebody corrected or mended by hand would be lost."""
    entries = AuditEntry.objects.across_groups("narrowed by the visits of one group")
    verbs = ("visit.corrected", "visit.mended")
    told = entries.filter(verb__in=verbs, object_type="surveys.visit", object_id__in=visits.values("pk"))
    return say_visits(
        visits.filter(pk__in=told.values("object_id")),
        ngettext_of("%(number)d visit was changed by hand", "%(number)d visits were changed by hand"),
    )


@on_undoing
def photographed_visits(run: ImportRun, visits: QuerySet[Visit]) -> list[str]:
    """Pictures that were added since."""
    photos = Photo.objects.of_group(run.group).filter(visit_number__in=visits.values("pk"))
    return say_visits(
        visits.filter(pk__in=photos.values("visit_number")),
        ngettext_of("%(number)d visit has pictures", "%(number)d visits have pictures"),
    )


Words = Callable[[int], str]


def ngettext_of(one: str, many: str) -> Words:
    """The words for a number of visits."""
    return lambda number: ngettext(one, many, number) % {"number": number}


def say_visits(visits: QuerySet[Visit], words: Words) -> list[str]:
    """One sentence about these visits with the first of them by name, or none where there are no visits."""
    first = visits.select_related("site").order_by("visited_on", "site__code").first()
    if first is None:
        return []
    example = _("for instance %(site)s on %(day)s") % {
        "site": first.site.code,
        "day": first.visited_on.isoformat(),
    }
    return [f"{words(visits.count())}, {example}."]
