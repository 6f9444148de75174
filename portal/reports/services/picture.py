"""The picture on the cover of a group's reports."""

from __future__ import annotations

from functools import partial
from typing import IO
from uuid import uuid4

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from portal.reports.models import GroupPicture, YearlyReport
from portal.reports.queries import picture_of
from surveys.services.photos import encoded_anew

# Enough for the whole width of a page in print.
LONGEST_SIDE = 1800


@transaction.atomic
def set_picture(
    *, person: Person, group: Group, upload: IO[bytes], alt: str, people: str, credit: str = ""
) -> GroupPicture:
    """Put a picture in place of the group's; raises InvalidPhoto when it cannot be read or is too large.

    `people`, of `GroupPicture.People`, says whether somebody can be recognised in it and agreed.
    """
    require(person, "report.make", group)
    content = ContentFile(encoded_anew(upload, longest_side=LONGEST_SIDE), name=f"{uuid4()}.jpg")
    # Two uploads at once must leave one picture, so they queue for the group's row.
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)
    _retire(picture_of(group))
    made = GroupPicture.objects.create(
        group=group, file=content, alt=alt, people=people, credit=credit, added_by_id=person.user_id
    )
    told = {"alt": ["", alt], "people": ["", str(people)]}
    record_change(actor=person, verb="picture.set", thing=made, changes=told)
    return made


@transaction.atomic
def describe_picture(*, person: Person, picture: GroupPicture, alt: str, people: str, credit: str = "") -> None:
    """Change the words of a picture; a report already made keeps those it was made with."""
    require(person, "report.make", picture)
    told = {"alt": [picture.alt, alt], "people": [picture.people, str(people)]}
    record_change(actor=person, verb="picture.described", thing=picture, changes=told)
    picture.alt, picture.people, picture.credit = alt, people, credit
    picture.save(update_fields=["alt", "people", "credit"])


@transaction.atomic
def remove_picture(*, person: Person, picture: GroupPicture) -> None:
    """Take the picture off; reports that show it keep it."""
    require(person, "report.make", picture)
    record_change(actor=person, verb="picture.removed", thing=picture, changes={"alt": [picture.alt, ""]})
    _retire(picture)


def _retire(picture: GroupPicture | None) -> None:
    """Keep what a report stands on; anything else goes, its file once that is certain."""
    if picture is None:
        return
    if YearlyReport.objects.of_group(picture.group).filter(picture=picture).exists():
        picture.replaced_at = timezone.now()
        picture.save(update_fields=["replaced_at"])
        return
    storage, name = picture.file.storage, str(picture.file.name)
    picture.delete()
    transaction.on_commit(partial(storage.delete, name), robust=True)
