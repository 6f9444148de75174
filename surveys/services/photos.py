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
from portal.audit.services import record_change
from surveys.models import Draft, Photo, Visit
from surveys.models.visits import Status

LARGEST_BYTES = 15 * 1024 * 1024
LARGEST_PIXELS = 60_000_000
LONGEST_SIDE = 2400
MOST_PHOTOS = 12
FORMATS = ("JPEG", "PNG", "WEBP")


class InvalidPhoto(ValueError):
    """The upload is no picture that can be taken; the message says why."""


@transaction.atomic
def add_photo(
    *, person: Person, group: Group, visit_number: UUID, upload: IO[bytes], caption: str = ""
) -> Photo:
    """Keep a picture for a draft or visit; raises InvalidPhoto when it cannot be read or is too large."""
    _require_right(person, group, visit_number)
    if Photo.objects.of_group(group).filter(visit_number=visit_number).count() >= MOST_PHOTOS:
        raise InvalidPhoto(
            _("%(most)s photos are enough for one visit. Remove one first.") % {"most": MOST_PHOTOS}
        )
    # A name of our own: an uploaded one may tell who took it, or try to leave the folder.
    content = ContentFile(_encoded_anew(upload), name=f"{uuid4()}.jpg")
    photo = Photo.objects.create(
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
def remove_photo(*, person: Person, photo: Photo) -> None:
    """Remove a picture and, once that is certain, its file."""
    _require_right(person, photo.group, photo.visit_number)
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


def _require_right(person: Person, group: Group, number: UUID) -> None:
    """Whoever may change the draft or visit may change its pictures; raises as `access.require` does."""
    require(person, "visit.submit", group)
    draft = Draft.objects.of_group(group).filter(pk=number).first()
    if draft:
        require(person, "draft.edit", draft)
    visit = Visit.objects.of_group(group).filter(pk=number).first()
    if visit and not (visit.status == Status.RETURNED and allowed(person, "visit.mend", visit)):
        require(person, "visit.correct", visit)


def _encoded_anew(upload: IO[bytes]) -> bytes:
    # One byte more than allowed is enough to know, however large the rest is.
    content = upload.read(LARGEST_BYTES + 1)
    if len(content) > LARGEST_BYTES:
        raise InvalidPhoto(_("This photo is larger than 15 MB. Send a smaller one."))
    picture = ImageOps.exif_transpose(_opened(content)).convert("RGB")
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
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
