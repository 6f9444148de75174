"""Signed links: whoever was sent the address in a mail may read or answer what it names, without an account.

A `SignedLink` stands for one purpose: what is signed for one opens nothing of another. The token carries the
identifiers of rows, and when it was made. What revokes it before its time (a member who left, a version that
was renewed, a row that is gone) is for the caller to read from those rows, who then raises `DeadLink` too.

    OFFER = SignedLink("alerts.repeat-offer", days=60)
    OFFER.address("repeat_link", offer.pk)
    OFFER.read_id(token)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from functools import update_wrapper
from typing import Concatenate, ParamSpec, TypeVar
from uuid import UUID

from django.conf import settings
from django.core.signing import BadSignature, SignatureExpired, Signer, TimestampSigner
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.cache import patch_cache_control

from portal.accounts.languages import in_this_language
from portal.accounts.walls import opens
from portal.audit.origins import Way, came_by

P = ParamSpec("P")
T = TypeVar("T")
# Like the purpose, part of every link that is still in somebody's mailbox.
BETWEEN = "."


class DeadLink(Exception):
    """A link of ours that no longer works."""


@dataclass(frozen=True)
class SignedLink:
    """The links of one purpose, which is the salt of their signatures and must never change once mail has left.

    They work for `days` days; None leaves their end to the row that they name. `timeless`: this purpose had no
    time once, and what was sent then still ends with its row.
    """

    purpose: str
    days: int | None
    timeless: bool = False

    def make(self, *parts: UUID | int) -> str:
        """The token that stands for these identifiers, in this order."""
        words = [part.hex if isinstance(part, UUID) else str(part) for part in parts]
        return self._signer().sign(BETWEEN.join(words))

    def address(self, page: str, *parts: UUID | int) -> str:
        """The whole address of the page of this URL name, for a mail; the page opens in the mail's language."""
        return in_this_language(settings.BASE_URL + reverse(page, args=[self.make(*parts)]))

    def read(self, token: str) -> list[str]:
        """The parts, as written; raises Http404 for a token we never made and DeadLink for one too old."""
        try:
            parts = self._unsigned(token).split(BETWEEN)
        except SignatureExpired as late:
            raise DeadLink from late
        except (BadSignature, ValueError) as forged:
            # ValueError: rightly signed, but without a time.
            raise Http404 from forged
        came_by(Way.LINK, self.purpose)
        return parts

    def read_id(self, token: str) -> UUID:
        """The one identifier of a token that names a single row; raises as `read` does."""
        try:
            return UUID(BETWEEN.join(self.read(token)))
        except ValueError as unknown:
            raise Http404 from unknown

    def _signer(self) -> Signer:
        return Signer(salt=self.purpose) if self.days is None else TimestampSigner(salt=self.purpose)

    def _unsigned(self, token: str) -> str:
        if self.timeless and ":" not in (plain := Signer(salt=self.purpose).unsign(token)):
            return plain
        signer = self._signer()
        if self.days is not None and isinstance(signer, TimestampSigner):
            return signer.unsign(token, max_age=timedelta(days=self.days))
        return signer.unsign(token)


Page = Callable[Concatenate[HttpRequest, T, P], HttpResponseBase]


def by_link(read: Callable[[str], T], gone: str) -> Callable[[Page[T, P]], Callable[..., HttpResponseBase]]:
    """Turn a view of what `read` finds into one of the `token` in its address.

    A forged link answers 404, a dead one 410 with the template `gone`; neither a search engine
    nor a browser keeps the page.
    """

    find = opens("a signed link names its row")(read)

    def decorate(view: Page[T, P]) -> Callable[..., HttpResponseBase]:
        def opened(request: HttpRequest, token: str, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            try:
                found = find(token)
            except DeadLink:
                return render(request, gone, status=410)
            answer = view(request, found, *args, **kwargs)
            answer["X-Robots-Tag"] = "noindex, nofollow"
            if "Cache-Control" not in answer.headers:
                patch_cache_control(answer, private=True, no_store=True)
            return answer

        update_wrapper(opened, view)
        return opened

    return decorate


def token_of(request: HttpRequest) -> str:
    """The token in the address of this request."""
    assert request.resolver_match is not None
    return str(request.resolver_match.kwargs["token"])
