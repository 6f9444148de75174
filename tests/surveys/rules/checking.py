"""Helpers to try the rules on a submission without a database."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date
from typing import Any
from uuid import UUID

from surveys.models import Kit, KitCleaning, Site
from surveys.outings.kits import KitState, KitUse
from surveys.people.pairs import Readiness
from surveys.rules import Checked, Context, SiteHistory, check_submission
from surveys.submission import parse_submission
from tests.factories import data_for

TODAY = date(2026, 6, 15)
# A fixed number: test names are made of it, and must be the same in each worker process.
PARTNER = UUID(int=7)
KIT = UUID(int=9)
USUAL = Context(site=Site(name="Stepping stones"), today=TODAY, members=frozenset({PARTNER}))


def checked(context: Context = USUAL, /, **changes: Any) -> Checked:
    """Check an ordinary visit of the day before, with `changes`."""
    return check_submission(
        parse_submission(data_for(context.site, **{"visited_on": "2026-06-14", **changes})), context
    )


def errors(context: Context = USUAL, /, **changes: Any) -> dict[str, tuple[str, str]]:
    """What stops it: {field: (rule, message)}."""
    return {each.field: (each.rule, each.message) for each in checked(context, **changes).errors}


def findings(context: Context = USUAL, /, **changes: Any) -> dict[str, tuple[str, str]]:
    """What goes along with it: {field: (rule, message)}."""
    return {each.field: (each.rule, each.message) for each in checked(context, **changes).findings}


def rules_of(remarks: dict[str, tuple[str, str]]) -> dict[str, str]:
    """Only the rule at each field."""
    return {field: rule for field, (rule, _message) in remarks.items()}


def at_site(**fields: Any) -> Context:
    """A context whose site has these fields."""
    return replace(USUAL, site=Site(name="Stepping stones", **fields))


def with_history(**fields: Any) -> Context:
    """A context with such a history of the site."""
    return replace(USUAL, history=SiteHistory(**fields))


def with_people(*, minors: Collection[int] = (), may: Mapping[int, str] | None = None) -> Context:
    """These are under 18 and may do that, by number; with `may` the group keeps trainings."""
    allowed = {UUID(int=number): frozenset({permit}) for number, permit in (may or {}).items()}
    readiness = Readiness(may is not None, allowed, frozenset(UUID(int=number) for number in minors))
    members = frozenset({PARTNER, UUID(int=8)})
    return replace(USUAL, members=members, readiness=readiness)


def with_kit(*, river: str, cleaned: date | None = None, method: str = "dried") -> Context:
    """A context whose kit was used in a river ten days before the usual visit, and perhaps cleaned since."""
    use = KitUse(Site(code="MW1", river=river), date(2026, 6, 4))
    cleanings = (KitCleaning(method=method, cleaned_on=cleaned),) if cleaned else ()
    return replace(at_site(river="Alder Beck"), kit=KitState(Kit(name="Red bag"), use, cleanings))
