"""The plan of a sheet: the one its group gave a sheet of the same header, else a guess; names still unknown."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from portal.accounts.models import Group
from scoring.taxa import find_taxon, roll_up, suggest
from surveys.importing.plans import LAYOUTS, TAXON_COLUMN, Plan, guess_plan, signature
from surveys.importing.raw import RawSheet
from surveys.models import ImportMapping, Site


@dataclass(frozen=True)
class Unknown:
    """A name in a sheet that is none of ours, with what it may mean."""

    name: str
    suggestions: tuple[str, ...] = ()


def remembered_plan(group: Group, raw: RawSheet) -> Plan | None:
    """What the group said of the last sheet with this header; the names in it may be fewer or more today."""
    signatures = {signature(raw, layout): layout for layout in LAYOUTS}
    found = ImportMapping.objects.of_group(group).filter(signature__in=signatures)
    kept = found.order_by("-changed_at").first()
    if kept is None:
        return None
    plan = fitted(Plan.of_json(kept.plan), raw)
    return plan if plan.is_usable else None


def fitted(plan: Plan, raw: RawSheet) -> Plan:
    """A plan for the columns that this sheet has; it may lack some that the plan needs."""
    here = guess_plan(raw, plan.layout)
    # What an error sheet adds is in no mapping, and is left out.
    return replace(plan, columns={name: plan.columns.get(name, "") for name in here.columns})


def mapping_names(group: Group) -> list[str]:
    """What the group's mappings are called, each after the sheet that it was made for."""
    found = ImportMapping.objects.of_group(group).exclude(name="").order_by("name")
    return list(dict.fromkeys(found.values_list("name", flat=True)))


def named_plan(group: Group, raw: RawSheet, name: str) -> Plan | None:
    """The mapping of that name for this sheet; None where the group has none."""
    found = ImportMapping.objects.of_group(group).filter(name__iexact=name).order_by("-changed_at").first()
    return fitted(Plan.of_json(found.plan), raw) if found else None


def first_plan(group: Group, raw: RawSheet) -> Plan:
    """The remembered plan, or a guess with the sites whose names the sheet writes out."""
    known = remembered_plan(group, raw)
    if known:
        return known
    plan = guess_plan(raw)
    by_name = {site.name.casefold(): site.code for site in Site.objects.of_group(group)}
    codes = {code.casefold() for code in by_name.values()}
    names = {name for name in _cells(raw, plan, "site") if name.casefold() not in codes}
    return replace(plan, sites={name: by_name[name.casefold()] for name in names if name.casefold() in by_name})


def unknown_taxa(raw: RawSheet, plan: Plan) -> list[Unknown]:
    """Names of taxa that neither we nor the plan know, in the order of the sheet."""
    seen = plan.seen(raw)
    names = [name for name in seen.header if plan.columns.get(name) == TAXON_COLUMN]
    names += list(_cells(raw, plan, "taxon")) if plan.layout == "taxon_rows" else []
    return [Unknown(name, tuple(suggest(name))) for name in dict.fromkeys(names) if _is_unknown(name)]


def _is_unknown(name: str) -> bool:
    return bool(name) and not (find_taxon(name) or roll_up(name))


def unknown_sites(raw: RawSheet, plan: Plan, codes: Iterable[str]) -> list[str]:
    """Names of sites that are no code of the group's."""
    known = {code.casefold() for code in codes}
    names = dict.fromkeys(_cells(raw, plan, "site"))
    return [name for name in names if name and name.casefold() not in known]


def _cells(raw: RawSheet, plan: Plan, target: str) -> Iterator[str]:
    seen = plan.seen(raw)
    for name, column in plan.columns.items():
        if column == target and name in seen.header:
            yield from seen.column(name)
