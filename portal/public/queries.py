"""What public pages read. Each page has three questions, of which the first is for its group and version."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import OuterRef, QuerySet, Subquery
from django.db.models.functions import JSONObject
from django.shortcuts import get_object_or_404

from alerts.models import Incident, IncidentState, Trigger
from portal.accounts.models import Group
from portal.accounts.queries import public_groups
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import opens
from portal.audit.versions import with_version
from surveys.exporting.models import PublishingTerms
from surveys.models import Site, Visit
from surveys.models.visits import Status
from surveys.visits.parts import laid_out, with_parts

WHY = "narrowed by the rows that fetch them"
LATEST = 30


def versioned_groups() -> QuerySet[Group]:
    """The groups that publish, each with its version and terms (`terms_of`)."""
    return with_version(public_groups()).annotate(packed_terms=Subquery(_terms("pk")))


@opens("the address names a group that publishes")
def public_group_at(slug: str) -> Group:
    """The group that publishes at this address; else Http404 (one query)."""
    return get_object_or_404(versioned_groups(), slug=slug)


def terms_of(group: Group) -> PublishingTerms:
    """The terms read with the group; unsaved ones without a licence where it set none."""
    packed: Any = group.packed_terms  # type: ignore[attr-defined]
    return PublishingTerms(group=group, **(packed or {}))


def _terms(path: str) -> Any:
    rows = PublishingTerms.objects.across_groups(WHY).filter(group=OuterRef(path))
    names = ("licence", "attribution", "contact_email", "blur")
    return rows.values(json=JSONObject(**{name: name for name in names}))[:1]


@opens("the address names a site of a group that publishes")
def public_site_at(slug: str, site_id: UUID) -> tuple[Site, list[Trigger]]:
    """A site of a group that publishes, and the triggers it has had, the oldest first (one query)."""
    triggers = Trigger.objects.across_groups(WHY).filter(site=OuterRef("pk"))
    ordered = triggers.order_by("valid_from", "created_at")
    packed = ArraySubquery(
        ordered.values(json=JSONObject(index="index", level="level", valid_from="valid_from"))
    )
    sites = Site.objects.across_groups("the address names the group").select_related("group")
    public = sites.filter(group__slug=slug, group__is_public=True).annotate(packed_triggers=packed)
    site: Any = get_object_or_404(with_version(public, "group_id"), id=site_id)
    # The version is the group's, whose row came along.
    site.group.changed_at, site.group.changes = site.changed_at, site.changes
    day = Trigger._meta.get_field("valid_from").to_python
    return site, [Trigger(**each | {"valid_from": day(each["valid_from"])}) for each in site.packed_triggers]


def approved_visits(site: Site) -> list[Visit]:
    """A site's approved visits with scores and verdicts, newest first (one query)."""
    approved = Visit.objects.filter(group=site.group_id, site=site, status=Status.APPROVED)
    ordered = approved.select_related("verdict__trigger").order_by("-visited_on", "-submitted_at")
    return laid_out(with_parts(ordered, "scores"))


def latest_visits(group: Group) -> list[Visit]:
    """The group's latest approved visits that were made, for its feed (one query)."""
    approved = Visit.objects.of_group(group).filter(status=Status.APPROVED, was_made=True)
    ordered = approved.select_related("verdict__trigger", "site").order_by("-reviewed_at", "-visited_on")
    return laid_out(with_parts(ordered, "scores")[:LATEST])


def closed_incidents(group: Group) -> GroupOwnedQuerySet[Incident]:
    """Incidents that are closed and of which an approved visit tells, the latest first."""
    closed = Incident.objects.of_group(group).filter(state=IncidentState.CLOSED)
    told = closed.filter(visits__status=Status.APPROVED).distinct()
    return told.select_related("site").order_by("-closed_at")[:LATEST]
