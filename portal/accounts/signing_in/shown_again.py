"""Views for whoever has shown lately that it is them."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from allauth.account.decorators import reauthentication_required
from django.http import HttpResponseBase

View = TypeVar("View", bound=Callable[..., HttpResponseBase])


def shown_again(*, allow_get: bool = False, app: str = "") -> Callable[[View], View]:
    """The library's decorator, which has no types: anybody else is asked for a proof first.

    With `allow_get` looking is free. `app` names the part of the library that gives the ways to show it, where
    that is not the one that asks.
    """
    decorate: Callable[[View], View] = reauthentication_required(allow_get=allow_get, app=app)
    return decorate
