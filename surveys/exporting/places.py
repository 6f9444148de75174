"""Sites, one row each. Hazards, way and landowner stay out: a copy of them is soon old, and then dangerous."""

from __future__ import annotations

from portal.accounts.models import Group
from surveys.exporting.queries import chosen_sites
from surveys.exporting.tables import Cell, Record, Table
from surveys.models import Site

_PLAIN = (
    "name",
    "river",
    "catchment",
    "latitude",
    "longitude",
    "location_precision_m",
    "location_as_typed",
    "spots",
    "kicks_per_spot",
    "seconds_per_kick",
    "visit_interval_days",
    "gauge_name",
    "gauge_link",
    "opened_on",
    "closed_on",
)
HEADER = ("site", *_PLAIN, "recording_list", "recording_list_version", "next_site_downstream")


def sites_table(group: Group) -> Table:
    """Every site of the group by code."""
    return Table("sites", HEADER, map(_record, chosen_sites(group)))


def _record(site: Site) -> Record:
    cells: tuple[Cell, ...] = (
        site.code,
        *(getattr(site, name) for name in _PLAIN),
        site.recording_list.slug,
        site.recording_list.version,
        site.downstream.code if site.downstream else None,
    )
    return Record(cells, (site.longitude, site.latitude), str(site.pk))
