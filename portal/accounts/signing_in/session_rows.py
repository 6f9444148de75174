"""Django's sessions in the database; the one that every request reads is read by a prepared query."""

from __future__ import annotations

from datetime import datetime

from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.contrib.sessions.models import Session
from django.db.models import QuerySet
from django.utils import timezone

from portal.accounts.prepared import prepared


# The name is part of how what a session holds is signed.
class SessionStore(DatabaseStore):
    """The same sessions under the same keys as Django's own."""

    def _get_session_from_db(self) -> Session | None:
        found = _session_at(self.session_key or "", timezone.now())
        if not found:
            self._session_key = None
        return found[0] if found else None


@prepared
def _session_at(key: str, now: datetime) -> QuerySet[Session]:
    return Session.objects.filter(session_key=key, expire_date__gt=now)
