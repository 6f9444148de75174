"""Steps that many pages share: into the group, to the row, to the laid-out form."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group, Membership
from portal.accounts.prepared import planned, prepared
from portal.accounts.queries import members_of
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.forms import Remark, shown_revision, visit_entry
from surveys.forms.posted import TAKE_UP
from surveys.lists.recording import taxa_of
from surveys.models import Draft, Photo, Site, Visit
from surveys.outings.kits import kits_of
from surveys.overviews import with_upstream
from surveys.queries import list_of_photos, photos_of, with_last_visit
from surveys.services.photo_positions import Suggestion, suggest_position
from surveys.services.photos import InvalidPhoto, add_photo, remove_photo
from surveys.visits.parts import ALL_PARTS, laid_out, with_parts
from surveys.visits.positions import landmarks


def find_site(group: Group, site_id: UUID) -> Site:
    """A site of the group, or 404."""
    rows = Site.objects.of_group(group).select_related("group", "recording_list", "downstream")
    return get_object_or_404(rows, id=site_id)


def find_dated_site(group: Group, site_id: UUID) -> Site:
    """The same with what `due_of` and `neighbours` need."""
    for site in _dated_site(group, site_id, timezone.now()):
        return site
    raise Http404


@planned
def _dated_site(group: Group, site_id: UUID, now: datetime) -> GroupOwnedQuerySet[Site]:
    rows = Site.objects.of_group(group).select_related("group", "recording_list", "downstream")
    return with_upstream(with_last_visit(rows.filter(id=site_id), now))


def find_draft(person: Person, group: Group, draft_id: UUID) -> Draft:
    """One's own draft; 404 where there is none, 403 where it is somebody else's."""
    for draft in _draft(group, draft_id):
        require(person, "draft.edit", draft)
        return draft
    raise Http404


@prepared
def _draft(group: Group, draft_id: UUID) -> GroupOwnedQuerySet[Draft]:
    rows = Draft.objects.of_group(group).select_related("group", "site__recording_list")
    return rows.filter(id=draft_id)


def find_visit(
    person: Person, group: Group, visit_id: UUID, action: str = "visit.view", *, is_for_form: bool = False
) -> Visit:
    """A visit of the group with all its parts, for whoever may do `action` with it (one query).

    With `is_for_form` the taxa of its list come along, without it its pictures.
    """
    found = laid_out(_visit(group, visit_id, is_for_form))
    if not found:
        raise Http404
    visit = found[0]
    visit.group = group
    require(person, action, visit)
    if visit.site.recording_list_id == visit.recording_list_id:
        # One object, so that its taxa are not read again.
        visit.site.recording_list = visit.recording_list
    return visit


@planned
def _visit(group: Group, visit_id: UUID, is_for_form: bool) -> GroupOwnedQuerySet[Visit]:
    rows = (
        Visit.objects.of_group(group)
        .select_related(
            "site",
            "recording_list",
            "recorder",
            "partner",
            "kit",
            "entered_by",
            "reviewed_by",
            # By its name alone: the verdict is kept by the floor above.
            "verdict__trigger",
        )
        .filter(id=visit_id)
    )
    return with_parts(rows, *ALL_PARTS, "taxa" if is_for_form else "photos")


def show_entry(
    request: PortalRequest,
    template: str,
    thing: Draft | Visit,
    data: Mapping[str, Any],
    *,
    problems: Iterable[Remark] = (),
    photo_problem: str = "",
    **context: Any,
) -> HttpResponse:
    """The form of a draft or visit with what was typed and what is wrong with it; 422 when anything is."""
    is_visit = isinstance(thing, Visit)
    recording_list = thing.recording_list if isinstance(thing, Visit) else thing.site.recording_list
    entry = visit_entry(
        site=thing.site,
        people=_choices(thing),
        kits=kit_choices(thing.group, thing if isinstance(thing, Visit) else None),
        taxa=taxa_of(recording_list),
        data=data,
        problems=problems,
        findings=thing.findings.all() if isinstance(thing, Visit) else (),
        photo_problem=photo_problem,
        others=landmarks(thing.group, thing.site),
    )
    shown = {
        "entry": entry,
        "site": thing.site,
        "photos": list_of_photos(thing),
        "photo_problem": photo_problem,
    }
    shown["visit" if is_visit else "draft"] = thing
    if isinstance(thing, Visit):
        # What was shown first, until the person is told that it was changed.
        seen = shown_revision(request.POST)
        shown["revision"] = thing.revision if seen is None else seen
    return render(request, template, shown | context, status=422 if entry.mistakes else 200)


def _choices(thing: Draft | Visit) -> list[tuple[str, str]]:
    """The members to choose from, and who has left since but stands in the record."""
    names = {str(member.user_id): str(member.user) for member in _members(thing.group)}
    named = (thing.recorder, thing.partner) if isinstance(thing, Visit) else ()
    gone = {str(user.pk): str(user) for user in named if user is not None}
    return list((gone | names).items())


@prepared
def _members(group: Group) -> GroupOwnedQuerySet[Membership]:
    return members_of(group)


def kit_choices(group: Group, visit: Visit | None = None) -> list[tuple[str, str]]:
    """The group's kits in use, and the one that stands in the record."""
    kits = {str(each.pk): each.name for each in kits_of(group)}
    own = {str(visit.kit.pk): visit.kit.name} if visit and visit.kit else {}
    return list((own | kits).items())


def store_upload(request: PortalRequest, thing: Draft | Visit) -> str:
    """Add the uploaded picture; the answer is what is wrong with it, or nothing."""
    upload = request.FILES.get("photo")
    if upload is None:
        return _("Choose a picture first.")
    caption = request.POST.get("caption", "")
    number, group = thing.pk, thing.group
    try:
        add_photo(person=request.person, group=group, visit_number=number, upload=upload, caption=caption)
    except InvalidPhoto as reason:
        return str(reason)
    return ""


def photo_position(request: PortalRequest, thing: Draft | Visit) -> Suggestion | None:
    """Where the uploaded picture says it was taken, as a question; nothing of it is kept before the answer."""
    upload = request.FILES.get("photo")
    return suggest_position(upload, thing.site, landmarks(thing.group, thing.site)) if upload else None


def show_entry_changed(
    request: PortalRequest, template: str, visit: Visit, data: Mapping[str, Any], **context: Any
) -> HttpResponse:
    """The form again with what was typed, for a visit that somebody changed since the form was opened."""
    context |= {"is_changed": True, "revision": visit.revision}
    answer = show_entry(request, template, visit, data, **context)
    answer.status_code = 422
    return answer


def show_photos_changed(
    request: PortalRequest, template: str, visit: Visit, data: Mapping[str, Any], **context: Any
) -> HttpResponse | None:
    """The form of a saved visit again where only its pictures were changed; None where the rest is to be read.

    A saved visit has no draft that could keep what is typed, so it goes back in the answer.
    """
    problem = _changed_photos(request, visit)
    if problem is None:
        return None
    position = None if problem else photo_position(request, visit)
    context |= {"photo_problem": problem, "photo_position": position}
    return show_entry(request, template, visit, data, **context)


def _changed_photos(request: PortalRequest, visit: Visit) -> str | None:
    """What is wrong with the picture, "" for nothing; None where pictures are not all that was asked."""
    if "photo_remove" in request.POST:
        remove_photo(person=request.person, photo=_photo_named(visit, request.POST["photo_remove"]))
        return ""
    if TAKE_UP in request.POST:
        return ""
    is_all = "photo_add" in request.POST
    if not is_all and "photo" not in request.FILES:
        return None
    problem = store_upload(request, visit)
    return problem if problem or is_all else None


def _photo_named(visit: Visit, number: str) -> Photo:
    found = next((photo for photo in photos_of(visit) if str(photo.pk) == number), None)
    if found is None:
        raise Http404
    return found


def tell_not_approved(request: PortalRequest, left: Iterable[tuple[Visit, str]]) -> None:
    """Name the visits that were not approved with others, each with its reason; with their sites."""
    for visit, reason in left:
        told = {"visit": visit.title, "reason": reason.removesuffix(".")}
        messages.warning(request, _("Not approved: %(visit)s: %(reason)s.") % told)
