"""Photos of a visit: re-encoded, so that nothing of the camera or the place rides along."""

from __future__ import annotations

import io
import warnings
from functools import partial
from typing import IO
from uuid import UUID, uuid4

from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from PIL import Image, ImageOps, UnidentifiedImageError

from portal.accounts.access import Person, allowed, require
from portal.accounts.models import Group
from portal.accounts.walls import wide
from portal.audit.services import record_change
from surveys.errors import Conflict
from surveys.models import Draft, Photo, Visit
from surveys.models.visits import Status
from surveys.services.review import locked

LARGEST_BYTES = 15 * 1024 * 1024
LARGEST_PIXELS = 60_000_000
LONGEST_SIDE = 2400
MOST_PHOTOS = 12
FORMATS = ("JPEG", "PNG", "WEBP")


class InvalidPhoto(ValueError):
    """The upload is no picture that can be taken; the message says why."""


@transaction.atomic
def add_photo(
    *,
    person: Person,
    group: Group,
    visit_number: UUID,
    upload: IO[bytes],
    caption: str = "",
    number: UUID | None = None,
) -> Photo:
    """Keep a picture for a draft or visit; raises InvalidPhoto when it cannot be read or is too large.

    `number` is the picture's own, where whoever sends it made one.
    """
    _require_right(person, group, visit_number, "visit.add_photo")
    if Photo.objects.of_group(group).filter(visit_number=visit_number).count() >= MOST_PHOTOS:
        raise InvalidPhoto(
            _("%(most)s photos are enough for one visit. Remove one first.") % {"most": MOST_PHOTOS}
        )
    # A name of our own: an uploaded one may tell who took it, or try to leave the folder.
    content = ContentFile(encoded_anew(upload), name=f"{uuid4()}.jpg")
    photo = Photo.objects.create(
        id=number or uuid4(),
        group=group,
        visit_number=visit_number,
        file=content,
        # A NUL, which the database cannot hold, is nothing that anybody wrote.
        caption=caption.replace("\x00", "").strip()[:160],
        added_by_id=person.user_id,
    )
    record_change(actor=person, verb="photo.added", thing=photo, changes={"visit": [None, str(visit_number)]})
    return photo


@transaction.atomic
def send_photo(
    *, person: Person, visit: Visit, number: UUID, upload: IO[bytes], caption: str = ""
) -> tuple[Photo, bool]:
    """Keep a picture of a visit under a number made by the client, and tell whether this very call kept it.

    A resend is answered with the first picture; raises Conflict when the number is somebody else's, and else as
    `add_photo` does.
    """
    # One after the other: the same picture may come twice at once, or cross the visit's approval.
    held = locked(visit)
    first = _first_sent(person, held, number)
    if first:
        return first, False
    made = add_photo(
        person=person, group=held.group, visit_number=held.pk, upload=upload, caption=caption, number=number
    )
    return made, True


@wide("a number made by a client may be anybody's")
def _first_sent(person: Person, visit: Visit, number: UUID) -> Photo | None:
    photo = Photo.objects.across_groups("a number made by a client may be anybody's").filter(pk=number).first()
    if photo and (photo.visit_number, photo.added_by_id) != (visit.pk, person.user_id):
        raise Conflict
    return photo


@transaction.atomic
def remove_photo(*, person: Person, photo: Photo) -> None:
    """Remove a picture and, once that is certain, its file."""
    _require_right(person, photo.group, photo.visit_number, "visit.correct")
    record_change(
        actor=person, verb="photo.removed", thing=photo, changes={"visit": [str(photo.visit_number), None]}
    )
    forget_photos(Photo.objects.of_group(photo.group).filter(pk=photo.pk))


def forget_photos(photos: QuerySet[Photo]) -> None:
    """Delete rows at once and their files after the commit, so that a rollback loses nothing."""
    for photo in photos:
        storage, name = photo.file.storage, str(photo.file.name)
        photo.delete()
        transaction.on_commit(partial(storage.delete, name))


def _require_right(person: Person, group: Group, number: UUID, action: str) -> None:
    """Whoever may change the draft or visit may change its pictures; raises as `access.require` does.

    `action` is the right that will do for a visit that was sent in and has not been returned.
    """
    require(person, "visit.submit", group)
    draft = Draft.objects.of_group(group).filter(pk=number).first()
    if draft:
        require(person, "draft.edit", draft)
    visit = Visit.objects.of_group(group).filter(pk=number).first()
    if visit and not (visit.status == Status.RETURNED and allowed(person, "visit.mend", visit)):
        require(person, action, visit)


def encoded_anew(upload: IO[bytes], *, longest_side: int = LONGEST_SIDE) -> bytes:
    """The picture as JPEG of its pixels alone, no side longer than so many; raises InvalidPhoto."""
    # One byte more than allowed is enough to know, however large the rest is.
    content = upload.read(LARGEST_BYTES + 1)
    if len(content) > LARGEST_BYTES:
        raise InvalidPhoto(_("This photo is larger than 15 MB. Send a smaller one."))
    picture = ImageOps.exif_transpose(_opened(content)).convert("RGB")
    picture.thumbnail((longest_side, longest_side))
    # A new image holds the pixels alone; saving the opened one could carry its metadata along.
    bare = Image.new("RGB", picture.size)
    bare.paste(picture)
    encoded = io.BytesIO()
    bare.save(encoded, "JPEG", quality=85, optimize=True)
    return encoded.getvalue()


def _opened(content: bytes) -> Image.Image:
    try:
        with warnings.catch_warnings():
            # Pillow only warns of a picture that unpacks to gigabytes; here that is a refusal.
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(content), formats=FORMATS)
            # Size is known from the header, before any pixel is unpacked.
            if picture.width * picture.height > LARGEST_PIXELS:
                raise InvalidPhoto(_("This photo has too many pixels. Send a smaller one."))
            picture.load()
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise InvalidPhoto(_("This photo has too many pixels. Send a smaller one.")) from None
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as wrong:
        if isinstance(wrong, InvalidPhoto):
            raise
        raise InvalidPhoto(_("This file is no photo we can read. Send a JPEG, PNG or WebP picture.")) from None
    return picture
