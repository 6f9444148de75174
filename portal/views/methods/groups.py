"""The methods in the order in which a reader looks for them."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from scoring.indices import METHODS, Method


@dataclass(frozen=True)
class MethodGroup:
    """Methods that belong together, with a sentence for somebody who knows none of them."""

    title: Promise
    explains: Promise
    methods: tuple[Method, ...]


_KINDS = (
    (
        _("Families by their tolerance of pollution"),
        _("Each family has a value for how well it bears organic pollution and lack of oxygen."),
        ("bmwp", "ntaxa", "aspt", "whpt", "whpt_ntaxa", "whpt_aspt", "fbi"),
    ),
    (
        _("Mayflies, stoneflies and caddisflies"),
        _("Three orders of insects, most of which need clean and cool water with much oxygen."),
        ("ept_families", "ept_percent"),
    ),
    (
        _("Richness and diversity"),
        _("How many kinds there are and how evenly the animals are spread over them, whatever they are."),
        ("richness", "shannon", "simpson", "pielou"),
    ),
    (
        _("Broad groups"),
        _("For short lists that can be counted at the bank, without naming families."),
        ("epa_volunteer", "bankside"),
    ),
)


def method_groups() -> list[MethodGroup]:
    """Every method once; one that no group names yet stands at the end, so that none is hidden."""
    groups = [MethodGroup(title, explains, _existing(keys)) for title, explains, keys in _KINDS]
    named = {key for _title, _explains, keys in _KINDS for key in keys}
    others = tuple(method for key, method in METHODS.items() if key not in named)
    return groups + [MethodGroup(_("Others"), _("Not put into a group yet."), others)] * bool(others)


def _existing(keys: tuple[str, ...]) -> tuple[Method, ...]:
    return tuple(METHODS[key] for key in keys if key in METHODS)
