"""Pages about people: invitations, members, settings of the group."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts import services
from portal.accounts.access import allowed, require
from portal.accounts.forms import (
    GroupForm,
    InvitationForm,
    LanguageForm,
    NewAccountForm,
    OwnTelephoneForm,
    RoleForm,
)
from portal.accounts.languages import keep_in_browser
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group, Invitation, Membership, Role, User
from portal.accounts.pages import enter, posted
from portal.accounts.queries import PEOPLE_PER_PAGE, open_invitations, people_of
from portal.accounts.signed_links import DeadLink
from portal.accounts.signing_in.sessions import sign_in_newcomer
from portal.outbox.queries import with_undelivered


@require_http_methods(["GET", "HEAD", "POST"])
def invitation_accept(request: PortalRequest, token: str) -> HttpResponse:
    """What an invitation offers; joining needs a click, so that a mail scanner joins nothing."""
    try:
        invitation = services.invitation_of(token)
    except DeadLink:
        return render(request, "accounts/address_gone.html", status=410)
    if invitation is None:
        raise Http404
    if not invitation.is_open:
        return render(request, "accounts/invitation_ended.html", {"invitation": invitation}, status=410)
    if User.objects.filter(email__iexact=invitation.email).exists():
        return _accept_with_account(request, invitation)
    return _accept_as_newcomer(request, invitation)


def _accept_with_account(request: PortalRequest, invitation: Invitation) -> HttpResponse:
    context = {"invitation": invitation, "is_addressee": request.person.email == invitation.email}
    if request.method != "POST" or not context["is_addressee"]:
        return render(request, "accounts/invitation_accept.html", context)
    try:
        services.accept_invitation(invitation=invitation, user=User.objects.get(email=request.person.email))
    except ValidationError as problem:
        return _not_joined(request, problem)
    return _joined(request, invitation)


def _accept_as_newcomer(request: PortalRequest, invitation: Invitation) -> HttpResponse:
    form = NewAccountForm(posted(request), email=invitation.email, group_name=invitation.group.name)
    if request.method != "POST" or not form.is_valid():
        context = {"invitation": invitation, "form": form}
        return render(request, "accounts/invitation_join.html", context, status=422 if form.errors else 200)
    try:
        user = services.join_with_new_account(invitation=invitation, **form.cleaned_data)
    except ValidationError as problem:
        return _not_joined(request, problem)
    response = _joined(request, invitation)
    sign_in_newcomer(request, user, response)
    return response


def _not_joined(request: PortalRequest, problem: ValidationError) -> HttpResponse:
    """Why not: the button was pressed twice, or the invitation was taken back while its page was open."""
    messages.error(request, " ".join(problem.messages))
    return redirect("home")


def _joined(request: PortalRequest, invitation: Invitation) -> HttpResponse:
    """To the group's desk, with a word that it worked."""
    messages.success(request, _("You have joined %(group)s.") % {"group": invitation.group.name})
    return redirect("group_desk", slug=invitation.group.slug)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def telephone_choose(request: PortalRequest) -> HttpResponse:
    """Where I can be rung."""
    form = OwnTelephoneForm(posted(request), initial={"phone": request.user.phone})  # type: ignore[union-attr]
    if request.method != "POST" or not form.is_valid():
        return render(
            request, "accounts/telephone_choose.html", {"form": form}, status=422 if form.errors else 200
        )
    services.keep_telephone(person=request.person, phone=form.cleaned_data["phone"])
    messages.success(
        request, _("Your telephone number is kept.") if form.cleaned_data["phone"] else _("No number is kept.")
    )
    return redirect("home")


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def language_choose(request: PortalRequest) -> HttpResponse:
    """In which language the portal speaks to me."""
    form = LanguageForm(posted(request), initial={"language": request.user.language})  # type: ignore[union-attr]
    if request.method != "POST" or not form.is_valid():
        return render(
            request, "accounts/language_choose.html", {"form": form}, status=422 if form.errors else 200
        )
    language = form.cleaned_data["language"]
    services.choose_language(person=request.person, language=language)
    with translation.override(language or translation.get_language_from_request(request)):
        messages.success(request, _("Pages and e-mails come in this language from now on."))
    response = redirect("home")
    if language:
        keep_in_browser(response, language)
    return response


@login_required
@require_safe
def people_list(request: PortalRequest, slug: str) -> HttpResponse:
    """Who belongs to the group and who has been asked."""
    group = enter(request, slug, "people.view")
    invited = with_undelivered(open_invitations(group), group)
    context = {
        "page": Paginator(people_of(group), PEOPLE_PER_PAGE).get_page(request.GET.get("page")),
        "may_manage": allowed(request.person, "people.manage", group),
        "invited": Paginator(invited, PEOPLE_PER_PAGE).get_page(request.GET.get("invited")),
    }
    return render(request, "accounts/people_list.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def invitation_send(request: PortalRequest, slug: str) -> HttpResponse:
    """Invite somebody by e-mail."""
    group = enter(request, slug, "people.manage")
    form = InvitationForm(posted(request), initial={"role": request.GET.get("role", Role.VOLUNTEER)})
    if request.method == "POST" and form.is_valid():
        try:
            services.invite_person(person=request.person, group=group, **form.cleaned_data)
        except ValidationError as problem:
            form.add_error(None, problem)
        else:
            messages.success(request, _("The invitation is on its way to %s.") % form.cleaned_data["email"])
            return redirect("people_list", slug=slug)
    return render(request, "accounts/invitation_send.html", {"form": form}, status=422 if form.errors else 200)


@login_required
@require_POST
def invitation_revoke(request: PortalRequest, slug: str, invitation_id: UUID) -> HttpResponse:
    """Take an invitation back."""
    group = enter(request, slug, "people.manage")
    invitation = get_object_or_404(Invitation.objects.of_group(group), id=invitation_id)
    services.revoke_invitation(person=request.person, invitation=invitation)
    messages.success(request, _("The invitation no longer works."))
    return redirect("people_list", slug=slug)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def membership_change(request: PortalRequest, slug: str, membership_id: UUID) -> HttpResponse:
    """A member's role, whether they are named, and leaving."""
    # A guest may leave as well, and sees nobody's membership but their own.
    group = enter(request, slug, "desk.view")
    membership = get_object_or_404(people_of(group), id=membership_id)
    is_own = membership.user_id == request.person.user_id
    if not is_own:
        require(request.person, "people.manage", group)
    if request.method == "POST":
        return _change_membership(request, membership, is_own)
    context = {
        "membership": membership,
        "is_own": is_own,
        "form": RoleForm(initial={"role": membership.role}),
        "may_manage": allowed(request.person, "people.manage", group),
    }
    return render(request, "accounts/membership_change.html", context)


def _change_membership(request: PortalRequest, membership: Membership, is_own: bool) -> HttpResponse:
    try:
        done = _do_membership_step(request, membership, is_own)
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
        return redirect("membership_change", slug=membership.group.slug, membership_id=membership.id)
    messages.success(request, done)
    if is_own and request.POST.get("step") == "leave":
        return redirect("home")
    return redirect("people_list", slug=membership.group.slug)


def _do_membership_step(request: PortalRequest, membership: Membership, is_own: bool) -> str:
    step = request.POST.get("step")
    if step == "leave" and is_own:
        services.end_membership(person=request.person, membership=membership)
        return _("%s is no longer a member.") % membership.user
    if step == "naming" and is_own:
        show = request.POST.get("show_name") == "on"
        services.choose_naming(person=request.person, membership=membership, show_name=show)
        return _("Your choice is kept.")
    form = RoleForm(request.POST)
    if not form.is_valid():
        raise ValidationError(_("Choose one of the roles."))
    services.change_role(person=request.person, membership=membership, role=form.cleaned_data["role"])
    return _("The role is changed.")


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def group_edit(request: PortalRequest, slug: str) -> HttpResponse:
    """The group's settings."""
    group = enter(request, slug, "group.edit")
    form = GroupForm(posted(request), instance=Group.objects.get(id=group.id))
    if request.method == "POST" and form.is_valid():
        services.edit_group(person=request.person, group=group, fields=form.cleaned_data)
        messages.success(request, _("The settings are kept."))
        return redirect("group_desk", slug=slug)
    return render(request, "accounts/group_edit.html", {"form": form}, status=422 if form.errors else 200)
