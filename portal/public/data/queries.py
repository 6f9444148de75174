"""Which files of open data may be given now, and which have to be made anew."""

from __future__ import annotations

from django.db.models import F, Max, OuterRef, Q, QuerySet, Subquery

from portal.accounts.models import Group
from portal.accounts.queries import public_groups
from portal.audit.versions import entries_that_count
from portal.public.models import FileName, OpenDataFile
from surveys.exporting.models import PublishingTerms

# The types of the files, which FileResponse would guess otherwise on each machine.
OPEN_DATA = {
    OpenDataFile.Name.RESULTS.value: "text/csv; charset=utf-8",
    OpenDataFile.Name.TAXA.value: "text/csv; charset=utf-8",
    OpenDataFile.Name.ARCHIVE.value: "application/zip",
}


def stamp(group: Group, terms: PublishingTerms) -> str:
    """The terms as a text that changes with each of them."""
    return "|".join((terms.licence, terms.blur, terms.attribution, terms.contact_email, group.name))[:500]


def files_of(group: Group, terms: PublishingTerms) -> list[OpenDataFile]:
    """The files made on the terms of today, simplest first (one query); none while the group has no licence."""
    if not terms.licence:
        return []
    found = OpenDataFile.objects.of_group(group).filter(terms=stamp(group, terms))
    # The archive is called "both", which says nothing before the two are named.
    return sorted(found, key=lambda each: FileName.values.index(each.name))


def kept_file(group: Group, terms: PublishingTerms, name: str) -> OpenDataFile | None:
    """One of them by its name."""
    return next((each for each in files_of(group, terms) if each.name == name), None)


def out_of_date() -> QuerySet[Group]:
    """Groups that publish under a licence and have changed something since their files were made."""
    why = "narrowed by the groups that fetch them"
    files = OpenDataFile.objects.across_groups(why).filter(group=OuterRef("pk")).order_by()
    # That the files were made is no change of what is in them.
    entries = entries_that_count().exclude(object_type=OpenDataFile._meta.label_lower)
    changed = entries.filter(group=OuterRef("pk")).order_by("-at").values("at")[:1]
    licensed = PublishingTerms.objects.across_groups(why).exclude(licence="").values("group")
    found = public_groups().filter(pk__in=licensed)
    rows = found.annotate(
        made=Subquery(files.values("group").annotate(at=Max("checked_at")).values("at")),
        changed=Subquery(changed),
    )
    return rows.filter(Q(made=None) | Q(changed__gt=F("made")))
