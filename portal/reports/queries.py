"""Reading yearly reports."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django.db.models import Max, Min
from django.shortcuts import get_object_or_404
from django.utils import timezone

from portal.accounts.access import Person, allowed
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import opens
from portal.audit.sealing import Head
from portal.audit.verifying import Witness
from portal.audit.versions import with_version
from portal.reports.models import GroupPicture, YearlyReport
from surveys.models import Visit

State = YearlyReport.State


def reports_of(group: Group, person: Person) -> GroupOwnedQuerySet[YearlyReport]:
    """The reports a member may see: the published ones, and drafts for whoever makes them."""
    found = YearlyReport.objects.of_group(group).defer("data").order_by("-year", "-edition")
    return found if allowed(person, "report.make", group) else found.filter(state=State.PUBLISHED)


def reportable_years(group: Group) -> list[int]:
    """Years with a visit on record and those between, the latest first."""
    span = Visit.objects.of_group(group).aggregate(first=Min("visited_on"), last=Max("visited_on"))
    if span["first"] is None:
        return []
    last = min(span["last"].year, timezone.localdate().year)
    return list(range(last, span["first"].year - 1, -1))


def published_reports() -> GroupOwnedQuerySet[YearlyReport]:
    """What everybody may read."""
    found = YearlyReport.objects.across_groups("published reports are for everybody")
    return found.filter(state=State.PUBLISHED).select_related("group")


def heads_in_reports() -> Iterator[Witness]:
    """Where the audit trail ended when each report was published; none in those of before it was sealed."""
    found = published_reports().exclude(data__trail=None).order_by("published_at")
    for identifier, kept in found.values_list("identifier", "data__trail").iterator():
        yield Witness(f"The report {identifier}", Head.read(kept))


def published_of(group: Group) -> GroupOwnedQuerySet[YearlyReport]:
    """The published reports of one group, the latest year and edition first."""
    return published_reports().filter(group=group).defer("data").order_by("-year", "-edition")


@opens("published reports are for everybody")
def published_report_named(identifier: str) -> YearlyReport | None:
    """The published report of this identifier."""
    return published_reports().filter(identifier=identifier).first()


@opens("published reports are for everybody")
def public_report_at(report_id: UUID) -> YearlyReport:
    """A published report without its figures, its group with its version; else Http404 (one query)."""
    found = with_version(published_reports().defer("data"), "group_id")
    report: Any = get_object_or_404(found, id=report_id)
    # The version is the group's, whose row came along.
    report.group.changed_at, report.group.changes = report.changed_at, report.changes
    return report  # type: ignore[no-any-return]


def editions_beside(report: YearlyReport) -> tuple[YearlyReport | None, YearlyReport | None]:
    """The latest published edition before this one, and the latest of all when this is not it (one query)."""
    others = published_of(report.group).filter(year=report.year).exclude(id=report.pk)
    earlier = [each for each in others if each.edition < report.edition]
    newer = [each for each in others if each.edition > report.edition]
    return next(iter(earlier), None), next(iter(newer), None)


def earlier_edition(report: YearlyReport) -> YearlyReport | None:
    """The latest published edition before this one."""
    found = published_reports().filter(group=report.group, year=report.year, edition__lt=report.edition)
    return found.order_by("-edition").first()


def picture_of(group: Group) -> GroupPicture | None:
    """The picture that a coordinator has put there."""
    return GroupPicture.objects.of_group(group).filter(replaced_at=None).select_related("group").first()


def printable_picture_of(group: Group) -> GroupPicture | None:
    """The same where it was said that nobody can be recognised in it, or that they agreed."""
    picture = picture_of(group)
    return picture if picture and picture.people else None
