"""One's sessions: where one is signed in, since when, and ending them on the server."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from allauth.account.adapter import get_adapter
from allauth.account.internal.flows.login import record_authentication
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib.auth import login
from django.contrib.sessions.models import Session
from django.db import DatabaseError, transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from portal.accounts.models import User
from portal.accounts.signing_in.devices import device_of, know_device

# In a session: the last day on which it was used. One write a day is enough to tell a week.
SEEN = "seen_on"


@dataclass(frozen=True)
class Here:
    """A session as its owner is told of it."""

    id: int
    device: str
    network: str
    began: datetime
    used: datetime
    is_this: bool


def open_sessions(user: User) -> QuerySet[UserSession]:
    """The sessions that still open something, the one used last first."""
    alive = Session.objects.filter(session_key=OuterRef("session_key"), expire_date__gt=timezone.now())
    found: QuerySet[UserSession] = UserSession.objects.filter(Exists(alive), user=user).order_by(
        "-last_seen_at"
    )
    return found


def sessions_of(user: User, own_key: str | None) -> list[Here]:
    """The same, as told to their owner."""
    return [
        Here(
            id=each.pk,
            device=device_of(each.user_agent),
            network=each.ip,
            began=each.created_at,
            used=each.last_seen_at,
            is_this=each.session_key == own_key,
        )
        for each in open_sessions(user)
    ]


@transaction.atomic
def end_sessions(user: User, *, but: str | None = None, only: int | None = None) -> int:
    """End the person's sessions on the server, or only the one of that number; returns how many."""
    ending = UserSession.objects.filter(user=user).exclude(session_key=but or "")
    if only is not None:
        ending = ending.filter(pk=only)
    keys = list(ending.values_list("session_key", flat=True))
    Session.objects.filter(session_key__in=keys).delete()
    ending.delete()
    return len(keys)


def sign_in_newcomer(request: HttpRequest, user: User, response: HttpResponse) -> None:
    """Begin the first session of an account that has just been made here, with a password typed just now."""
    login(request, user, backend=settings.AUTHENTICATION_BACKENDS[0])
    request.session.set_expiry(settings.ACCOUNT_SESSION_COOKIE_AGE)
    request.session[SEEN] = timezone.localdate().isoformat()
    record_authentication(request, user, "password", reauthenticated=True)
    UserSession.objects.create_from_request(request, user=user)
    know_device(request, user, response)


def clear_ended_sessions(now: datetime) -> int:
    """Forget sessions that have run out by then, and where and with what they were made; returns how many.

    One that nothing further is known of counts as well, and so does what has outlived its session.
    """
    ended = Session.objects.filter(expire_date__lte=now)
    known = UserSession.objects.filter(session_key=OuterRef("session_key"))
    bare, _by_kind = ended.exclude(Exists(known)).delete()
    ended.delete()
    alive = Session.objects.filter(session_key=OuterRef("session_key"))
    gone, _by_kind = UserSession.objects.exclude(Exists(alive)).delete()
    return int(bare) + int(gone)


class SessionUseMiddleware:
    """A session that nobody used for a week ends, on the server as well."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.SESSION_COOKIE_NAME in request.COOKIES:
            # The page itself says what is wrong with the database.
            with suppress(DatabaseError):
                _note_use(request)
        return self.get_response(request)


def _note_use(request: HttpRequest) -> None:
    today, seen = timezone.localdate(), request.session.get(SEEN)
    if seen == today.isoformat() or "_auth_user_id" not in request.session:
        return
    if seen and today - date.fromisoformat(seen) > timedelta(days=settings.SESSION_IDLE_DAYS):
        UserSession.objects.filter(session_key=request.session.session_key).delete()
        request.session.flush()
        return
    # Written here and not with the answer: a page must still be read while the database cannot write.
    with transaction.atomic():
        request.session[SEEN] = today.isoformat()
        request.session.save()
        UserSession.objects.filter(session_key=request.session.session_key).update(
            last_seen_at=timezone.now(), ip=get_adapter().get_client_ip(request)
        )
    request.session.modified = False
