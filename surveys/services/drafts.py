"""Drafts: a visit being typed, kept exactly as entered until it is submitted.

Saving a draft leaves no audit row: it changes nobody's record, and the form saves it every few seconds.
"""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from django.db import transaction
from django.utils.translation import gettext as _

from portal.accounts.access import Person, acting_id, require
from portal.accounts.walls import wide
from portal.audit.services import record_change
from surveys.errors import Conflict, NotPossible
from surveys.models import Draft, Photo, Site, Visit
from surveys.services.photos import forget_photos


@transaction.atomic
def start_visit(*, person: Person, site: Site) -> Draft:
    """Begin a visit to a site under a new number, with an empty draft."""
    require(person, "visit.submit", site)
    draft = Draft.objects.create(
        id=uuid4(), group=site.group, site=site, entered_by_id=acting_id(person), data={"site": str(site.pk)}
    )
    record_change(actor=person, verb="draft.started", thing=draft)
    return draft


@transaction.atomic
def save_draft(*, person: Person, site: Site, number: UUID, data: dict[str, Any]) -> Draft:
    """Keep what has been typed so far, faults and all.

    Raises NotPossible once the visit is submitted, Conflict when the number is somebody else's.
    """
    require(person, "visit.submit", site)
    fields = {"group": site.group, "site": site, "entered_by_id": acting_id(person), "data": storable(data)}
    with wide("a number made by a client may be anybody's"):
        everybodys = Draft.objects.across_groups("as anybody's").select_for_update()
        draft, is_new = everybodys.get_or_create(pk=number, defaults=fields)
    # Asked only now: waiting for the draft's row may have meant waiting for its submission.
    _require_not_submitted(number)
    if is_new:
        return draft
    # A coordinator has no business in a draft either: nothing has been said in it yet.
    if draft.entered_by_id != person.user_id or draft.group_id != site.group_id:
        raise Conflict
    draft.site, draft.data = site, fields["data"]
    draft.save(update_fields=["site", "data", "updated_at"])
    return draft


@wide("a number made by a client may be anybody's")
def _require_not_submitted(number: UUID) -> None:
    # A late autosave must not bring back a draft of a visit that is safely in.
    if Visit.objects.across_groups("a number made by a client may be anybody's").filter(pk=number).exists():
        raise NotPossible(_("This visit has been submitted already."))


@transaction.atomic
def discard_draft(*, person: Person, draft: Draft) -> None:
    """Throw a draft and its photos away; raises NotPossible once the visit is submitted."""
    require(person, "draft.edit", draft)
    # Waiting for the draft's row may have meant waiting for its submission, whose pictures these are by then.
    held = Draft.objects.of_group(draft.group).select_for_update().filter(pk=draft.pk).first()
    _require_not_submitted(draft.pk)
    if held is None:
        return
    forget_photos(Photo.objects.of_group(draft.group).filter(visit_number=draft.pk))
    record_change(actor=person, verb="draft.discarded", thing=draft)
    draft.delete()


def storable(value: Any) -> Any:
    """The value without the two kinds of character that PostgreSQL's JSON cannot hold."""
    if isinstance(value, dict):
        return {storable(key): storable(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [storable(inner) for inner in value]
    # NUL and lone surrogates: a refused save would lose what was typed, for a character nobody can see.
    if isinstance(value, str):
        return value.replace("\x00", "").encode("utf-8", "ignore").decode("utf-8")
    return value
