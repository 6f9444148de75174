"""The parts of a report that a coordinator may leave out; what is left out is named in the report itself.

Summary, overview, method, limits and licence always stay: without them nobody could judge the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

Figures = Mapping[str, Any]

OPTIONAL: Mapping[str, Promise] = {
    "map": gettext_lazy("Sketch of the sites and rivers"),
    "incidents": gettext_lazy("Incidents"),
    "effort": gettext_lazy("Who did the work"),
    "quality": gettext_lazy("How the records were checked"),
    "joining": gettext_lazy("Joining in"),
}


def is_shown(section: str, figures: Figures) -> bool:
    """Whether the section stands in the report."""
    return section not in figures.get("left_out", ())


def optional_sections(figures: Figures) -> dict[str, str]:
    """Key and name of every section that may be left out, the page of each site included."""
    pages = {
        f"site-{site['id']}": _("Page of %(site)s") % {"site": f"{site['code']} {site['name']}"}
        for site in figures.get("sites", ())
    }
    return {**{key: str(label) for key, label in OPTIONAL.items()}, **pages}


def captioned(figures: Figures) -> dict[str, str]:
    """Key and name of every drawing that may carry a caption of the coordinator's."""
    pages = {f"site-{site['id']}": f"{site['code']} {site['name']}" for site in figures.get("sites", ())}
    return {"map": str(OPTIONAL["map"]), **pages}


def left_out_words(figures: Figures) -> list[str]:
    """Names of the sections that were left out."""
    return [label for key, label in optional_sections(figures).items() if not is_shown(key, figures)]
