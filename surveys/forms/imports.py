"""Choosing a spreadsheet, and saying what its columns and cells mean."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.functional import Promise
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from scoring.taxa import roll_up
from surveys.importing.columns import COLUMN_BY_NAME
from surveys.importing.plans import TAXON_COLUMN, Plan
from surveys.importing.raw import RawSheet
from surveys.importing.remembering import Unknown

LAYOUTS = (
    ("taxon_rows", _("One row for each taxon of each visit")),
    ("visit_rows", _("One row for each visit, with a column for each taxon")),
    ("visit_columns", _("One column for each visit, with a row for each taxon")),
)
DAYS = (
    ("dmy", _("day, month, year: 3/5/2024")),
    ("mdy", _("month, day, year: 5/3/2024")),
    ("ymd", _("year, month, day: 2024-05-03")),
)
COMMAS = (("", _("a point: 7.4")), ("on", _("a comma: 7,4")))
EMPTY = (("", _("not looked for, or nothing said")), ("on", _("looked for and not found: 0")))
NAMES_ASKED = 100
SAMPLES = 3


class SheetForm(forms.Form):
    """One file; what is in it is judged by surveys.importing."""

    sheet = forms.FileField(
        label=_("Spreadsheet"),
        help_text=_("CSV or XLSX, at most 20 MB and 10,000 rows."),
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx,.txt,.tsv"}),
        error_messages={
            "required": _("Choose a file first."),
            "missing": _("Choose a file first."),
            "empty": _("The file is empty."),
        },
    )


class LayoutForm(forms.Form):
    """How a sheet lies."""

    layout = forms.ChoiceField(label=_("How the sheet lies"), choices=LAYOUTS, widget=forms.RadioSelect)


class UndoForm(forms.Form):
    """Why an import is undone."""

    reason = forms.CharField(
        label=_("Why it is undone"),
        max_length=500,
        widget=forms.Textarea(attrs={"rows": "2"}),
        help_text=_("It stays in the group's records."),
    )


class MappingForm(forms.Form):
    """What each column is, and how cells are read; the fields of the columns come with the sheet."""

    date_order = forms.ChoiceField(label=_("Dates are written"), choices=DAYS)
    decimal_comma = forms.ChoiceField(label=_("Figures are written with"), choices=COMMAS, required=False)
    empty_is_none = forms.ChoiceField(label=_("An empty count means"), choices=EMPTY, required=False)
    marks = forms.CharField(
        label=_("Marks for seen, not counted"),
        required=False,
        max_length=200,
        help_text=_("Words or signs with commas between them, such as x, present."),
    )

    def __init__(
        self,
        data: QueryDict | None,
        *,
        raw: RawSheet,
        plan: Plan,
        taxa: Iterable[Unknown] = (),
        sites: Iterable[str] = (),
        codes: Iterable[tuple[str, str]] = (),
    ) -> None:
        super().__init__(data, initial=_initial(plan))
        self.plan, self.raw = plan, plan.seen(raw)
        self.column_names = self._add("column", plan.columns, self._column_field)
        choices = [("", _now("none of ours: leave it as a problem")), *codes]
        self.site_names = self._add(
            "site", list(sites)[:NAMES_ASKED], lambda name: self._site_field(name, choices)
        )
        asked = {each.name: each for each in list(taxa)[:NAMES_ASKED]}
        self.taxon_names = self._add("taxon", asked, lambda name: self._taxon_field(asked[name]))

    def _add(self, kind: str, names: Iterable[str], make: Any) -> Mapping[str, str]:
        fields = {field_name(kind, name): name for name in names}
        for field, name in fields.items():
            self.fields[field] = make(name)
        return fields

    def _column_field(self, name: str) -> forms.Field:
        cells = list(dict.fromkeys(cell for cell in self.raw.column(name) if cell))[:SAMPLES]
        return forms.ChoiceField(
            label=name,
            choices=column_choices(self.plan.layout, self._is_taxon(name)),
            required=False,
            initial=self.plan.columns[name],
            help_text=_now("For instance: %(cells)s") % {"cells": ", ".join(cells)} if cells else "",
        )

    def _is_taxon(self, name: str) -> bool:
        """Whether the header names a taxon that we know: most columns of a wide sheet, asked in few words."""
        return self.plan.columns[name] == TAXON_COLUMN and roll_up(name) is not None

    @property
    def open_columns(self) -> list[forms.BoundField]:
        """The columns that somebody has to look at."""
        return [self[field] for field, name in self.column_names.items() if not self._is_taxon(name)]

    @property
    def taxon_columns(self) -> list[forms.BoundField]:
        """The columns that are taxa by their names."""
        return [self[field] for field, name in self.column_names.items() if self._is_taxon(name)]

    @property
    def taxa(self) -> list[forms.BoundField]:
        """Names of taxa that are asked for."""
        return [self[field] for field in self.taxon_names]

    @property
    def sites(self) -> list[forms.BoundField]:
        """Names of sites that are asked for."""
        return [self[field] for field in self.site_names]

    def _site_field(self, name: str, choices: list[tuple[str, str]]) -> forms.Field:
        return forms.ChoiceField(
            label=name, choices=choices, required=False, initial=self.plan.sites.get(name, "")
        )

    def _taxon_field(self, unknown: Unknown) -> forms.Field:
        near = _now("Perhaps %(names)s?") % {"names": ", ".join(unknown.suggestions)}
        return forms.CharField(
            label=unknown.name,
            required=False,
            max_length=100,
            initial=self.plan.taxa.get(unknown.name, ""),
            help_text=near if unknown.suggestions else "",
        )

    def has_seen(self, kind: str, names: Iterable[str]) -> bool:
        """Whether each of these names was asked for in what was sent."""
        return all(field_name(kind, name) in self.data for name in list(names)[:NAMES_ASKED])

    def clean(self) -> dict[str, Any]:
        """Each column of the table is told once, and none is missing that the layout needs."""
        cleaned: dict[str, Any] = super().clean() or {}
        plan = self.told()
        for name in plan.missing:
            self.add_error(None, _("Say which column holds this: %(name)s.") % {"name": target_name(name)})
        for field, name in self.column_names.items():
            if plan.columns[name] in plan.twice:
                self.add_error(field, _("Another column is said to be this already."))
        return cleaned

    def told(self) -> Plan:
        """The plan as it was sent, faults and all."""
        sent = self.cleaned_data
        marks = (mark.strip().casefold() for mark in sent.get("marks", "").split(","))
        return replace(
            self.plan,
            columns={name: sent.get(field, "") for field, name in self.column_names.items()},
            taxa=self._names(self.plan.taxa, self.taxon_names),
            sites=self._names(self.plan.sites, self.site_names),
            date_order=sent.get("date_order", "dmy"),
            decimal_comma=bool(sent.get("decimal_comma")),
            empty_is_none=bool(sent.get("empty_is_none")),
            marks=tuple(mark for mark in marks if mark),
        )

    def _names(self, known: Mapping[str, str], fields: Mapping[str, str]) -> dict[str, str]:
        sent = {name: self.cleaned_data.get(field, "").strip() for field, name in fields.items()}
        return {name: ours for name, ours in {**known, **sent}.items() if ours}


def field_name(kind: str, name: str) -> str:
    """A field for a name that may hold anything."""
    return f"{kind}-{hashlib.sha256(name.encode()).hexdigest()[:12]}"


def _initial(plan: Plan) -> dict[str, str]:
    return {
        "date_order": plan.date_order,
        "decimal_comma": "on" if plan.decimal_comma else "",
        "empty_is_none": "on" if plan.empty_is_none else "",
        "marks": ", ".join(plan.marks),
    }


def target_name(name: str) -> str | Promise:
    """A column of the table in words."""
    if name == TAXON_COLUMN:
        return _("a taxon with its counts")
    column = COLUMN_BY_NAME[name]
    if column.field.startswith("measurements."):
        return f"{column.field.rpartition('.')[2].replace('_', ' ')} ({column.unit})"
    return name.replace("_", " ")


def column_choices(layout: str, is_taxon: bool = False) -> list[tuple[str, str | Promise]]:
    """What a column of a sheet in this layout may be; few choices where its name is a taxon's."""
    first: list[tuple[str, str | Promise]] = [("", _("nothing: leave it out"))]
    apart: tuple[str, ...] = ()
    if layout != "taxon_rows":
        first.append((TAXON_COLUMN, target_name(TAXON_COLUMN)))
        apart = ("taxon", "count", "whole_tray")
    names = [] if is_taxon else [name for name in COLUMN_BY_NAME if name not in apart]
    return first + [(name, target_name(name)) for name in names]
