"""Django's tags of translation, with those used everywhere drawn in a fraction of the time.

`settings.TEMPLATES` gives this library out as "i18n". A text that stands in the template as it is needs no
variable looked up and nothing put off; and the parts of a sentence are put together once, when its template is
read, not each time it is shown. What is rarer goes Django's own way.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.template import Library, Node
from django.template.base import Parser, Token, render_value_in_context
from django.template.context import Context
from django.templatetags import i18n
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language, gettext, ngettext

register = Library()
register.tags |= i18n.register.tags
register.filters |= i18n.register.filters


class PlainWords(Node):
    """`{% translate "…" %}`, perhaps `as` a variable; `message` is as it stands in the catalogues."""

    child_nodelists = ()

    def __init__(self, message: str, variable: str | None) -> None:
        self.message, self.variable = message, variable
        self._by_language: dict[str | None, SafeString] = {}

    def _words(self) -> SafeString:
        # A catalogue without the text is asked for those of its fallbacks, five of them for our English.
        language = get_language()
        if language not in self._by_language:
            # Percent signs are doubled there, as in sentences that something is put into.
            self._by_language[language] = mark_safe(gettext(self.message).replace("%%", "%"))  # noqa: S308
        return self._by_language[language]

    def render(self, context: Context) -> SafeString:
        words = self._words()
        if self.variable is None:
            return words
        context[self.variable] = words
        return SafeString("")


class Sentence(i18n.BlockTranslateNode):
    """`{% blocktranslate %}` without a message context."""

    def __init__(self, like: i18n.BlockTranslateNode) -> None:
        vars(self).update(vars(like))
        self.one, names = self.render_token_list(self.singular)
        self.several, more = self.render_token_list(self.plural) if self.plural else ("", [])
        self.names = tuple(dict.fromkeys([*names, *more]))
        self._by_language: dict[str | None, str] = {}

    def render(self, context: Context, nested: bool = False) -> str:
        said = None if nested else self._said(context)
        if said is None:
            # Django's own way, with its own words for what is wrong.
            own: str = super().render(context, nested)
            return own
        if not self.asvar:
            return said
        context[self.asvar] = SafeString(said)
        return ""

    def _said(self, context: Context) -> str | None:
        """The sentence; None where something is missing, or a translation asks for what is not there."""
        given = {name: each.resolve(context) for name, each in self.extra_context.items()}
        try:
            message = self._message(given, context)
            return message % {name: self._part(name, given, context) for name in self.names}
        except (KeyError, ValueError):
            return None

    def _message(self, given: dict[str, Any], context: Context) -> str:
        if self.counter is None or self.countervar is None:
            return self._only()
        with context.push(**given):
            number: Any = self.counter.resolve(context)
        if not isinstance(number, Decimal | float | int):
            raise ValueError
        given[self.countervar] = number
        return ngettext(self.one, self.several, number)  # type: ignore[arg-type]

    def _only(self) -> str:
        language = get_language()
        if language not in self._by_language:
            self._by_language[language] = gettext(self.one)
        return self._by_language[language]

    def _part(self, name: str, given: Mapping[str, Any], context: Context) -> str:
        return render_value_in_context(given[name] if name in given else context[name], context)


@register.tag("trans")
@register.tag("translate")
def translate(parser: Parser, token: Token) -> Node:
    """Django's own, or `PlainWords` where they do."""
    node = i18n.do_translate(parser, token)
    told = node.filter_expression
    is_plain = not (told.filters or node.noop or node.message_context or told.var.lookups)
    if is_plain and isinstance(told.var.literal, SafeString):
        return PlainWords(told.var.literal.replace("%", "%%"), node.asvar)
    return node


@register.tag("blocktrans")
@register.tag("blocktranslate")
def blocktranslate(parser: Parser, token: Token) -> Node:
    """Django's own, or `Sentence` where it does."""
    node = i18n.do_block_translate(parser, token)
    is_plain = not node.message_context and bool(node.plural) == bool(node.countervar and node.counter)
    return Sentence(node) if is_plain else node
