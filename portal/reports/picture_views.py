"""The picture on the cover of a group's reports: chosen, described, taken off."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted
from portal.reports.forms import PictureForm
from portal.reports.models import GroupPicture
from portal.reports.queries import picture_of
from portal.reports.services import describe_picture, remove_picture, set_picture
from surveys.services.photos import InvalidPhoto

WORDS = ("alt", "people", "credit")


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def report_picture(request: PortalRequest, slug: str) -> HttpResponse:
    """The picture that the next report shows, with its words."""
    group = enter(request, slug, "report.make")
    picture = picture_of(group)
    initial = {name: getattr(picture, name) for name in WORDS} if picture else None
    form = PictureForm(posted(request), request.FILES or None, has_picture=bool(picture), initial=initial)
    if request.method == "POST" and form.is_valid() and _kept(request, group, picture, form):
        messages.success(request, _("The picture is kept. The next report that is made will show it."))
        return redirect("report_picture", slug=slug)
    context = {"group": group, "form": form, "picture": picture}
    return render(request, "reports/report_picture.html", context, status=422 if form.errors else 200)


def _kept(request: PortalRequest, group: Group, picture: GroupPicture | None, form: PictureForm) -> bool:
    """Store file and words, or say at the field what is wrong with the file."""
    words = {name: form.cleaned_data[name] for name in WORDS}
    upload = form.cleaned_data["file"]
    try:
        if upload or picture is None:
            set_picture(person=request.person, group=group, upload=upload, **words)
        else:
            describe_picture(person=request.person, picture=picture, **words)
    except InvalidPhoto as problem:
        form.add_error("file", str(problem))
        return False
    return True


@login_required
@require_POST
def report_picture_remove(request: PortalRequest, slug: str) -> HttpResponse:
    """Take the picture off the reports to come."""
    group = enter(request, slug, "report.make")
    if picture := picture_of(group):
        remove_picture(person=request.person, picture=picture)
        messages.success(request, _("The picture is taken off. Reports already made keep theirs."))
    return redirect("report_picture", slug=slug)


@login_required
@require_safe
def report_picture_file(request: PortalRequest, slug: str) -> FileResponse:
    """The picture itself; never anything a browser would run."""
    picture = picture_of(enter(request, slug, "report.make"))
    if picture is None:
        raise Http404
    answer = FileResponse(picture.file.open("rb"), content_type="image/jpeg")
    answer["Content-Disposition"] = "inline"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return answer
