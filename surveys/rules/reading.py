"""Rules applied while a submission is read: what cannot be read cannot be checked any further."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from surveys.measuring.quantities import COMMON
from surveys.rules.types import Rule, Severity

READING_RULES = (
    Rule(
        "missing",
        _("Left blank"),
        _("Number, site and date are always needed; a line once begun must be finished."),
        Severity.ERROR,
        COMMON,
    ),
    Rule(
        "unreadable",
        _("Cannot be read"),
        _("Not a number, date, time or choice. Counts are whole numbers from 0; 7.4 and 7,4 are the same."),
        Severity.ERROR,
        COMMON,
    ),
    Rule(
        "unknown_taxon",
        _("Unknown taxon"),
        _("No Latin name, synonym, English name or genus of the tables; close names are offered."),
        Severity.ERROR,
        _("The scoring tables; English names from memory."),
    ),
    Rule(
        "count_at_odds",
        _("Count and range at odds"),
        _("A count outside the range beside it, or “none” together with a range."),
        Severity.ERROR,
        COMMON,
    ),
    Rule(
        "unknown_quantity",
        _("Unknown quantity"),
        _("Only the quantities of the table are recorded."),
        Severity.ERROR,
        COMMON,
    ),
    Rule(
        "unknown_unit",
        _("Unknown unit"),
        _("A nutrient is given as NO3 or N, as PO4 or P: they differ by a factor of more than three."),
        Severity.ERROR,
        _("Factors 4.427 and 3.066 from the molar masses."),
    ),
)

SERVICE_RULES = (
    Rule(
        "unknown_site",
        _("Unknown site"),
        _("The site must be one of the group's own, and a visit stays with its site."),
        Severity.ERROR,
        COMMON,
    ),
)
