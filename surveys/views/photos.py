"""Pictures of drafts and visits: added, served to members, removed."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from surveys.models import Draft, Photo
from surveys.queries import photos_of
from surveys.services.photo_positions import Suggestion
from surveys.services.photos import remove_photo
from surveys.views.drafts import TEMPLATE, keep_typed, show_photo_problem
from surveys.views.shared import find_draft, photo_position, show_entry, store_upload

# The service encodes every upload anew as this.
STORED_AS = "image/jpeg"


@login_required
@require_POST
def photo_add(request: PortalRequest, slug: str, draft_id: UUID) -> HttpResponse:
    """Store a picture with the draft at once, and whatever else the form holds."""
    group = enter(request, slug, "visit.submit")
    draft = find_draft(request.person, group, draft_id)
    data = keep_typed(request, draft) if "visited_on" in request.POST else draft.data
    problem = store_upload(request, draft)
    position = None if problem else photo_position(request, draft)
    if _wants_list(request):
        return _photo_list(request, draft, problem, position)
    if problem:
        return show_photo_problem(request, draft, data, problem)
    if position:
        return show_entry(request, TEMPLATE, draft, data, photo_position=position)
    return redirect(_place_in_form(draft))


def _wants_list(request: PortalRequest) -> bool:
    """Whether the page's script asked, which changes the list of pictures in place."""
    return "X-Photo-List" in request.headers


def _photo_list(
    request: PortalRequest, draft: Draft, problem: str = "", position: Suggestion | None = None
) -> HttpResponse:
    context = {
        "photos": photos_of(draft),
        "draft": draft,
        "photo_problem": problem,
        "photo_position": position,
    }
    return render(request, "surveys/_photo_list.html", context, status=422 if problem else 200)


def _place_in_form(draft: Draft) -> str:
    return f"{resolve_url('visit_submit', slug=draft.group.slug, draft_id=draft.pk)}#photos"


@login_required
@require_POST
def photo_remove(request: PortalRequest, slug: str, photo_id: UUID) -> HttpResponse:
    """Take a picture out of one's draft."""
    group = enter(request, slug, "visit.submit")
    photo = get_object_or_404(Photo.objects.of_group(group), id=photo_id)
    draft = find_draft(request.person, group, photo.visit_number)
    if "visited_on" in request.POST:
        keep_typed(request, draft)
    remove_photo(person=request.person, photo=photo)
    if _wants_list(request):
        return _photo_list(request, draft)
    messages.success(request, _("The picture is removed."))
    return redirect(_place_in_form(draft))


@login_required
@require_safe
def photo_file(request: PortalRequest, slug: str, photo_id: UUID) -> FileResponse:
    """The picture itself, for members only; never anything a browser would run."""
    group = enter(request, slug, "visit.view")
    photo = get_object_or_404(Photo.objects.of_group(group), id=photo_id)
    answer = FileResponse(photo.file.open("rb"), content_type=STORED_AS)
    answer["Content-Disposition"] = "inline"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return answer
