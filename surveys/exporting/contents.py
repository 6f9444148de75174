"""What can be exported, and in which kinds of file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from django.db.models import Q
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.models import Group
from surveys.exporting.counted import counts_table
from surveys.exporting.people import Names
from surveys.exporting.places import sites_table
from surveys.exporting.queries import chosen_visits
from surveys.exporting.tables import Table
from surveys.exporting.visited import scores_table, visits_table
from surveys.exporting.writing import Writer, write_csv, write_geojson, write_xlsx

Maker = Callable[[Group, Q, Names], Table]


@dataclass(frozen=True)
class Content:
    """One kind of table: what it is called, what a row of it is, and how it is made."""

    label: Promise
    help: Promise
    make: Maker


CONTENTS: Mapping[str, Content] = MappingProxyType(
    {
        "visits": Content(
            _("Visits with their scores"),
            _("One row for each visit: conditions, effort, measurements, every index with lowest and highest."),
            lambda group, chosen, names: visits_table(group, chosen_visits(group, chosen), names),
        ),
        "counts": Content(
            _("Taxon counts"),
            _("One row for each taxon of each visit, in the columns that “Load a spreadsheet” reads."),
            lambda group, chosen, names: counts_table(group, chosen_visits(group, chosen), names),
        ),
        "scores": Content(
            _("Scores"),
            _("One row for each index of each visit, with version, and the reason where there is no value."),
            lambda group, chosen, _names: scores_table(chosen_visits(group, chosen)),
        ),
        "sites": Content(
            _("Sites"),
            _("One row for each site of the group, whatever is chosen above."),
            lambda group, _chosen, _names: sites_table(group),
        ),
    }
)


@dataclass(frozen=True)
class FileKind:
    """One kind of file: its label, ending and type, and what writes it."""

    label: Promise
    ending: str
    media_type: str
    write: Writer


FILE_KINDS: Mapping[str, FileKind] = MappingProxyType(
    {
        "xlsx": FileKind(
            _("XLSX, for spreadsheet programs"),
            "xlsx",
            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
            write_xlsx,
        ),
        "csv": FileKind(_("CSV (UTF-8), for any program"), "csv", "text/csv; charset=utf-8", write_csv),
        "geojson": FileKind(_("GeoJSON, for maps"), "geojson", "application/geo+json", write_geojson),
    }
)
