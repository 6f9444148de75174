"""What a sheet's columns mean, as programs say it."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from surveys.forms.imports import DAYS, LAYOUTS
from surveys.importing.columns import COLUMN_BY_NAME
from surveys.importing.plans import MARKS, TAXON_COLUMN, Plan
from surveys.importing.raw import RawSheet
from surveys.importing.remembering import fitted

_TARGETS = frozenset({"", TAXON_COLUMN, *COLUMN_BY_NAME})


class PlanSerializer(serializers.Serializer[Any]):
    """How a sheet lies, what its columns are, and how its cells are written."""

    layout = serializers.ChoiceField(LAYOUTS)
    columns = serializers.DictField(
        child=serializers.CharField(allow_blank=True, max_length=60),
        help_text="By the names of the header: a column of the portal's own sheets, taxon_column for a column "
        "of counts of the taxon it is named after, or nothing to leave it out.",
    )
    taxa = serializers.DictField(
        child=serializers.CharField(max_length=100), default=dict, help_text="Names in the sheet to ours."
    )
    sites = serializers.DictField(
        child=serializers.CharField(max_length=60), default=dict, help_text="Names in the sheet to codes."
    )
    date_order = serializers.ChoiceField(DAYS, default="dmy")
    decimal_comma = serializers.BooleanField(default=False)
    empty_is_none = serializers.BooleanField(
        default=False, help_text="Whether an empty count means looked for and not found."
    )
    marks = serializers.ListField(
        child=serializers.CharField(max_length=40),
        default=lambda: list(MARKS),
        max_length=20,
        help_text="Words for seen, not counted.",
    )

    def validate_columns(self, columns: dict[str, str]) -> dict[str, str]:
        """Only what a column can be."""
        unknown = sorted({each for each in columns.values() if each not in _TARGETS})
        if unknown:
            raise serializers.ValidationError(
                _("No column of a sheet can be this: %(names)s.") % {"names": ", ".join(unknown)}
            )
        return columns

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Each column of ours once, and none missing that the layout needs."""
        plan = self._plan(attrs)
        if plan.missing or plan.twice:
            names = ", ".join([*plan.missing, *plan.twice])
            raise serializers.ValidationError(
                {"columns": [_("Say exactly once which column holds these: %(names)s.") % {"names": names}]}
            )
        return attrs

    def plan(self) -> Plan:
        """The plan as it was sent, for the columns that the sheet has."""
        return self._plan(self.validated_data)

    def _plan(self, said: dict[str, Any]) -> Plan:
        raw: RawSheet = self.context["raw"]
        return fitted(Plan(**{**said, "marks": tuple(each.casefold() for each in said["marks"])}), raw)
