"""What differs between two editions of one year's report."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy

Figures = Mapping[str, Any]

# The figures a reader would quote: section and name, with what they are called.
QUOTED: Mapping[tuple[str, str], Promise] = {
    ("totals", "sites"): gettext_lazy("Sites"),
    ("totals", "planned"): gettext_lazy("Visits planned"),
    ("totals", "made"): gettext_lazy("Visits made"),
    ("totals", "not_made"): gettext_lazy("Visits not made"),
    ("totals", "no_record"): gettext_lazy("Planned visits without a record"),
    ("totals", "below"): gettext_lazy("Visits below the trigger"),
    ("totals", "not_below"): gettext_lazy("Visits not below the trigger"),
    ("totals", "not_tested"): gettext_lazy("Visits not tested"),
    ("incidents", "acknowledged"): gettext_lazy("Incidents acknowledged"),
    ("incidents", "false_alarms"): gettext_lazy("False alarms"),
    ("incidents", "still_live"): gettext_lazy("Incidents not closed"),
    ("effort", "volunteers"): gettext_lazy("People who took part"),
    ("effort", "kicking_minutes"): gettext_lazy("Kicking time, minutes"),
    ("effort", "person_hours"): gettext_lazy("Hours at the river"),
    ("quality", "approved"): gettext_lazy("Records approved"),
}


def changed_figures(before: Figures, now: Figures) -> list[dict[str, Any]]:
    """The quoted figures that differ, each with what it was and what it is; None where an edition had none."""
    rows = [
        {"what": str(label), "before": before.get(part, {}).get(name), "now": now[part][name]}
        for (part, name), label in QUOTED.items()
    ]
    opened = {"what": str(gettext_lazy("Incidents opened")), "before": _opened(before), "now": _opened(now)}
    return [row for row in (*rows, opened) if row["before"] != row["now"]]


def _opened(figures: Figures) -> int:
    return len(figures.get("incidents", {}).get("rows", []))
