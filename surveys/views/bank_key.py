"""The identification key on one page, which works without a network and without a script."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.middleware import PortalRequest
from surveys.identification import End, Key, Source, Step, load_drawings, load_key
from surveys.views.bank import open_bank_page

SURE_WORDS: Mapping[str, str | Promise] = {
    "tray": _("Good: with the naked eye in a tray, if the animal is alive and whole."),
    "lens": _("Fair: with a hand lens, on a living animal, with some practice."),
    "microscope": _("Poor at the bank: it takes a microscope or a trained eye. Record the broader group."),
}


@dataclass(frozen=True)
class ShownAnswer:
    """An answer with the name of the drawing beside it."""

    text: str
    to: str
    drawing: str


@dataclass(frozen=True)
class ShownPart:
    """A step or an end as the page has it; `before` is the step that one comes from."""

    part: Step | End
    before: Step | None
    answers: tuple[ShownAnswer, ...] = ()
    sources: tuple[Source, ...] = ()
    sure_words: str | Promise = ""


@open_bank_page
def bank_key(request: PortalRequest) -> HttpResponse:
    """The whole key: an outline of linked steps, of which the script shows one at a time."""
    key = load_key()
    context = {
        "parts": [_shown(key, part) for part in key.in_order()],
        "drawings": load_drawings().values(),
        "sources": key.sources.values(),
    }
    return render(request, "bank/bank_key.html", context)


def _shown(key: Key, part: Step | End) -> ShownPart:
    turns = key.turns_to(part.id)
    before = turns[0].step if turns else None
    if isinstance(part, End):
        return ShownPart(part, before, sure_words=SURE_WORDS[part.sure])
    answers = tuple(ShownAnswer(each.text, each.to, key.drawing_of(each)) for each in part.choices)
    return ShownPart(part, before, answers, tuple(key.sources[name] for name in part.sources))
