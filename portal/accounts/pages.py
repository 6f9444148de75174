"""First steps of every page inside a group."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponseRedirect, QueryDict
from django.shortcuts import redirect

from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.queries import group_for


def enter(request: PortalRequest, slug: str, action: str) -> Group:
    """The group at this address, for whoever may do `action` there; the frame of the page shows it."""
    group = group_for(request.person, slug, action)
    request.current_group = group
    return group


def posted(request: HttpRequest) -> QueryDict | None:
    """The fields sent, or None for a page that is only read.

    A form sent empty is a form with mistakes; Django's usual `request.POST or None` takes it for one not sent.
    """
    return request.POST if request.method == "POST" else None


def go_on(request: HttpRequest, group: Group, page: str, **address: Any) -> HttpResponseRedirect:
    """Where a button leads once it has done its work: to the desk, if it stood there, else to `page`."""
    if request.POST.get("back") == "desk":
        return redirect("group_desk", slug=group.slug)
    answer: HttpResponseRedirect = redirect(page, **address)
    return answer
