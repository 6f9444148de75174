"""What surrounds a visit, as parts of pages: checklist, kits, river and the ways to report them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import template
from django.utils import timezone

from surveys.models import Site
from surveys.outings.kits import kit_states, kits_of
from surveys.outings.rivers import river_at
from surveys.outings.rules import checklist_of, rules_of
from surveys.submission.numbers import plain_text

register = template.Library()
# The part of the checklist that is gone through when the visit is over.
LAST = "after"


@register.filter
def metres(level: Decimal) -> str:
    """A level as it is read: "0.9", not "0.900"."""
    return plain_text(level)


@register.inclusion_tag("surveys/_outing_before.html")
def outing_before(site: Site) -> dict[str, Any]:
    """The river, the kits with their warnings for this site, and the checklist up to the water (5 queries)."""
    today = timezone.localdate()
    rules = rules_of(site.group)
    states = kit_states(site.group, list(kits_of(site.group)), today, rules.drying_days)
    kits = [(state, state.warning(site, today)) for state in states]
    return {
        "site": site,
        "group": site.group,
        "river": river_at(site),
        "kits": kits,
        "has_warning": any(warning for _state, warning in kits),
        "parts": [part for part in checklist_of(rules) if part.key != LAST],
        "rules": rules,
    }


@register.inclusion_tag("surveys/_outing_after.html")
def outing_after(site: Site) -> dict[str, Any]:
    """The checklist for afterwards (one query)."""
    parts = checklist_of(rules_of(site.group))
    return {"site": site, "group": site.group, "parts": [part for part in parts if part.key == LAST]}
