"""The demonstration's inbox: what the portal's real SMTP traffic delivered on this machine."""

from __future__ import annotations

import email
import email.policy
from email.message import EmailMessage
from pathlib import Path

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

NEWEST = 100


def _folder() -> Path:
    if not settings.DEMO:
        raise Http404
    return Path(settings.STATE_DIR) / "demo-inbox"


def _read(file: Path) -> EmailMessage:
    return email.message_from_bytes(file.read_bytes(), policy=email.policy.default)


def _message(name: str) -> EmailMessage:
    """The message of that name; the names come from the folder itself, never from the address."""
    for file in _folder().glob("*.eml"):
        if file.stem == name:
            return _read(file)
    raise Http404


@require_safe
def demo_inbox(request: HttpRequest) -> HttpResponse:
    """All messages that arrived, newest first."""
    files = sorted(_folder().glob("*.eml"), key=lambda file: file.stat().st_mtime, reverse=True)
    rows = [{"name": file.stem, "mail": _read(file)} for file in files[:NEWEST]]
    return render(request, "portal/demo_inbox.html", {"rows": rows})


@require_safe
def demo_mail(request: HttpRequest, name: str) -> HttpResponse:
    """One message's text, with its links."""
    mail = _message(name)
    body = mail.get_body(("plain",))
    return render(
        request,
        "portal/demo_mail.html",
        {"name": name, "mail": mail, "text": body.get_content() if body else ""},
    )
