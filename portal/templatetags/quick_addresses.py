"""`{% url %}` that works an address out once: it depends on nothing but the page's name and what stands in it.

`settings.TEMPLATES` puts it in the place of Django's own. A page of ours has up to two hundred addresses, most
of them those of its frame.
"""

from __future__ import annotations

from functools import lru_cache
from uuid import UUID

from django.conf import settings
from django.template import Library
from django.template.base import Parser, Token
from django.template.context import Context
from django.template.defaulttags import URLNode
from django.template.defaulttags import url as django_url
from django.urls import NoReverseMatch, get_script_prefix, get_urlconf, reverse
from django.utils.html import conditional_escape
from django.utils.safestring import SafeString

register = Library()
# What stands in an address and is the same address whenever it is equal and of the same kind.
PLAIN = (str, int, UUID)
KEPT = 5_000


class AddressNode(URLNode):
    """A page by its name alone, without a namespace."""

    def __init__(self, like: URLNode, name: str) -> None:
        vars(self).update(vars(like))
        self.name, self.words = name, tuple(like.kwargs)

    def render(self, context: Context) -> str:
        values = [each.resolve(context) for each in (*self.args, *self.kwargs.values())]
        try:
            address, escaped = address_of(self.name, self.words, *values)
        except NoReverseMatch:
            # Without an address, Django's own way says what is wrong, or nothing.
            return str(super().render(context))
        if self.asvar:
            context[self.asvar] = address
            return ""
        return escaped if context.autoescape else address


def address_of(name: str, words: tuple[str, ...], *values: object) -> tuple[str, SafeString]:
    """The address of a page, plain and as it stands in HTML; the last values go by `words`, if there are any.

    Raises NoReverseMatch as `reverse` does.
    """
    find = _kept if all(isinstance(each, PLAIN) for each in values) else _found
    return find(get_urlconf() or settings.ROOT_URLCONF, get_script_prefix(), name, words, *values)


def _found(
    urlconf: str, _prefix: str, name: str, words: tuple[str, ...], *values: object
) -> tuple[str, SafeString]:
    in_order = len(values) - len(words)
    named = dict(zip(words, values[in_order:], strict=True))
    address = reverse(name, urlconf, args=values[:in_order], kwargs=named)
    return address, conditional_escape(address)


# By kind as well: 1 and True are equal, and two addresses.
_kept = lru_cache(maxsize=KEPT, typed=True)(_found)


@register.tag
def url(parser: Parser, token: Token) -> URLNode:
    """Django's own, or an `AddressNode` where the page's name stands in the template."""
    node = django_url(parser, token)
    name = node.view_name.var
    is_plain = isinstance(name, str) and not node.view_name.filters and ":" not in name
    return AddressNode(node, str(name)) if is_plain else node
