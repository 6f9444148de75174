"""A request that is sent twice under one Idempotency-Key is done once; the second gets the first answer."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import timedelta
from functools import wraps
from typing import Any

from django.core.files.base import File
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.exceptions import APIException
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from portal.tokens.models import KeptAnswer

HEADER = "Idempotency-Key"
REPLAYED = "Idempotent-Replayed"
KEPT = timedelta(days=1)
LONGEST = 100
Method = Callable[..., Response]


class KeyReused(APIException):
    """The key was used for another request."""

    status_code = 422
    rule = "key_reused"

    def __init__(self) -> None:
        super().__init__(_("This Idempotency-Key was used for another request. Make a new one."))


class KeyTooLong(APIException):
    """The key is longer than can be kept."""

    status_code = 400
    rule = "unreadable"

    def __init__(self) -> None:
        super().__init__(_("An Idempotency-Key has at most 100 characters."))


def once(method: Method) -> Method:
    """Let a view's method do a request with an Idempotency-Key once; without the header it is done as usual."""

    @wraps(method)
    def guarded(view: Any, request: Request, *args: Any, **address: Any) -> Response:
        key = request.headers.get(HEADER, "")
        if not key:
            return method(view, request, *args, **address)
        if len(key) > LONGEST or "\0" in key:
            raise KeyTooLong
        with transaction.atomic():
            return _answer(key, request, lambda: method(view, request, *args, **address))

    return guarded


def _answer(key: str, request: Request, act: Callable[[], Response]) -> Response:
    user, digest = str(request.user.pk), _digest(request)
    KeptAnswer.objects.filter(user_id=user, kept_at__lt=timezone.now() - KEPT).delete()
    # A second request at the same moment waits here until the first is done or has failed.
    kept, is_new = KeptAnswer.objects.get_or_create(user_id=user, key=key, defaults={"request_digest": digest})
    if not is_new:
        return _again(kept, digest)
    answer = act()
    if answer.status_code >= 400:
        # What was refused may be mended and sent again under the same key.
        transaction.set_rollback(True)
        return answer
    kept.status, kept.body = answer.status_code, JSONRenderer().render(answer.data).decode()
    kept.save(update_fields=["status", "body"])
    return answer


def _again(kept: KeptAnswer, digest: str) -> Response:
    if kept.request_digest != digest:
        raise KeyReused
    return Response(json.loads(kept.body or "null"), status=kept.status, headers={REPLAYED: "true"})


def _as_text(value: Any) -> str:
    """A file by its content: two may bear one name."""
    if not isinstance(value, File):
        return str(value)
    digest = hashlib.sha256()
    for chunk in value.chunks():
        digest.update(chunk)
    value.seek(0)
    return digest.hexdigest()


def _digest(request: Request) -> str:
    parts = (
        request.method or "",
        request.get_full_path(),
        json.dumps(request.data, sort_keys=True, default=_as_text),
    )
    return hashlib.sha256("\n".join(parts).encode("utf-8", "surrogatepass")).hexdigest()
