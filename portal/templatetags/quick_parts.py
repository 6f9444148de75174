"""`{% part "…" with a=b %}`: a piece of a page that is drawn once for all pages that show the same.

It is an `{% include … only %}` whose template depends on nothing but the plain values that are handed to it and
the reader's language: these are the key under which it is kept, so nobody is ever given what was made from
other values. A template that reads anything else (the clock, the database, the request, a token against forged
requests) must not be a part; `tests/portal/test_quick_parts.py` goes through every tag of all that are.

What it saves: a tenth of the processor time of the form of a visit, some three per cent of desk and site
(November 2026). What it leans on are the attributes of Django's `IncludeNode`; should they change, draw with
`{% include … only %}`. Django's `{% cache %}` does not tell 1 from "1", and pickles what it keeps.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from datetime import date, datetime
from threading import Lock
from typing import Any
from uuid import UUID

from django.core.signals import setting_changed
from django.template import Library, TemplateSyntaxError
from django.template.base import Parser, Token
from django.template.context import Context
from django.template.loader_tags import IncludeNode, do_include
from django.utils.functional import Promise
from django.utils.safestring import SafeString
from django.utils.translation import get_language

register = Library()
# Equal and of one kind means drawn alike.
PLAIN = (str, int, UUID, date, type(None))
# A page has some fifty different parts, of one kilobyte each.
MOST = 4_000


class KeptParts:
    """Drawn parts of this process, the longest unused going first."""

    def __init__(self, most: int) -> None:
        self.most = most
        self._kept: OrderedDict[Hashable, SafeString] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Hashable) -> SafeString | None:
        with self._lock:
            found = self._kept.get(key)
            if found is not None:
                self._kept.move_to_end(key)
            return found

    def keep(self, key: Hashable, drawn: SafeString) -> None:
        with self._lock:
            self._kept[key] = drawn
            if len(self._kept) > self.most:
                self._kept.popitem(last=False)

    def clear(self, **_sent: Any) -> None:
        with self._lock:
            self._kept.clear()


kept = KeptParts(MOST)
# Addresses of static files and the like are made from settings; only tests change those.
setting_changed.connect(kept.clear)


class PartNode(IncludeNode):
    """`{% include … only %}`, kept under the template's name, the language and the values."""

    def __init__(self, like: IncludeNode) -> None:
        vars(self).update(vars(like))
        self.isolated_context = True

    def render(self, context: Context) -> SafeString:
        given = ((name, each.resolve(context)) for name, each in self.extra_context.items())
        told = tuple((name, _plain(value)) for name, value in given)
        key = self.template.resolve(context), get_language(), context.autoescape, told
        drawn = kept.get(key)
        if drawn is None:
            drawn = super().render(context)
            # A template that is being worked on is drawn anew each time.
            if context.template is None or not context.template.engine.debug:
                kept.keep(key, drawn)
        return drawn


def _plain(value: Any) -> Hashable:
    """The value as it is compared, with its kind: plain, put off until a language is known, or made of such."""
    if isinstance(value, Promise):
        return str, str(value)
    if isinstance(value, PLAIN) and not isinstance(value, datetime):
        return type(value), value
    if isinstance(value, list | tuple):
        return type(value), tuple(_plain(each) for each in value)
    if isinstance(value, dict):
        return dict, tuple((name, _plain(each)) for name, each in value.items())
    raise TemplateSyntaxError(f"A part is made from plain values, and {type(value).__name__} is none.")


@register.tag
def part(parser: Parser, token: Token) -> PartNode:
    """`{% part "components/badge.html" with word=… %}`."""
    return PartNode(do_include(parser, token))
