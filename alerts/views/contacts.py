"""Agency contacts of a group, and the order in which a site's contacts are told."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from alerts.forms import ContactForm, SiteContactsForm
from alerts.models import AgencyContact
from alerts.queries import contacts_of
from alerts.services.contacts import name_site_contacts, save_contact
from alerts.views.shared import find_site, try_service
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, posted


@login_required
@require_safe
def contact_list(request: PortalRequest, slug: str) -> HttpResponse:
    """Everybody at agencies whom the group has named."""
    group = enter(request, slug, "contact.manage")
    return render(request, "alerts/contact_list.html", {"group": group, "contacts": contacts_of(group)})


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def contact_create(request: PortalRequest, slug: str) -> HttpResponse:
    """Name somebody new."""
    group = enter(request, slug, "contact.manage")
    form = ContactForm(posted(request))
    if form.is_valid():
        contact = save_contact(person=request.person, group=group, fields=form.cleaned_data)
        messages.success(
            request, _("%(name)s is added. Now name the sites they hear of.") % {"name": contact.name}
        )
        return redirect("contact_list", slug=slug)
    context = {"group": group, "form": form}
    return render(request, "alerts/contact_create.html", context, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def contact_edit(request: PortalRequest, slug: str, contact_id: UUID) -> HttpResponse:
    """Change somebody, or take them out of service."""
    group = enter(request, slug, "contact.manage")
    rows = AgencyContact.objects.of_group(group)
    form = ContactForm(posted(request), instance=get_object_or_404(rows, id=contact_id))
    if form.is_valid():
        # Read again, because checking the form has changed the one it was given.
        save_contact(
            person=request.person, group=group, contact=rows.get(id=contact_id), fields=form.cleaned_data
        )
        messages.success(request, _("The changes are saved."))
        return redirect("contact_list", slug=slug)
    context = {"group": group, "form": form, "contact": rows.get(id=contact_id)}
    return render(request, "alerts/contact_edit.html", context, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def site_contacts(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """Say who is told of a low score at a site, and in which order."""
    group = enter(request, slug, "contact.manage")
    site = find_site(group, site_id)
    active = AgencyContact.objects.of_group(group).filter(is_active=True)
    form = SiteContactsForm(request.POST if request.method == "POST" else None, contacts=active, site=site)
    if form.is_valid() and try_service(
        form, lambda: name_site_contacts(person=request.person, site=site, contacts=form.in_order())
    ):
        messages.success(request, _("The order is saved."))
        return redirect("site_detail", slug=slug, site_id=site.pk)
    context = {"group": group, "site": site, "form": form}
    return render(request, "alerts/site_contacts.html", context, status=422 if form.errors else 200)
