"""The record sheet of a site, to be printed."""

from __future__ import annotations

from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.utils.text import slugify
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from surveys.paper.record_sheet import write_sheet
from surveys.views.shared import find_site, kit_choices


@login_required
@require_safe
@never_cache
def record_sheet(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """The sheet as a PDF."""
    group = enter(request, slug, "visit.submit")
    site = find_site(group, site_id)
    pdf = write_sheet(site, list(site.recording_list.taxa.all()), kit_choices(group))
    answer = HttpResponse(pdf, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{slugify(site.code) or "site"}-sheet.pdf"'
    return answer
