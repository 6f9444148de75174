"""What every page's frame needs: the person, the group they are in and the ways on from here."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.access import allowed
from portal.accounts.models import Group

# (URL name, label, the right that makes it useful)
WORK_PAGES = (
    ("group_desk", _("Desk"), "desk.view"),
    ("site_list", _("Sites"), "site.view"),
    ("visit_list", _("Visits"), "visit.view"),
    ("review_queue", _("To check"), "visit.review"),
    ("rota_page", _("Rota"), "rota.view"),
    ("incident_list", _("Incidents"), "group.view"),
    ("report_list", _("Reports"), "report.view"),
    ("people_list", _("People"), "people.view"),
)
# What is looked after now and then; folded away, so that the daily ways fit on one line.
CARE_PAGES = (
    ("outing_rules", _("Going out"), "group.view"),
    ("safe_return_list", _("Safe returns"), "return.start"),
    ("kit_list", _("Kits"), "kit.view"),
    ("contact_list", _("Agency contacts"), "contact.manage"),
    ("import_visits", _("Load a spreadsheet"), "import.run"),
    ("export_make", _("Take records out"), "export.run"),
    ("catchment_list", _("Catchments"), "group.view"),
    ("message_list", _("Messages"), "outbox.view"),
    ("job_list", _("Long work"), "visit.submit"),
    ("list_list", _("Recording lists"), "site.view"),
    ("agreement_list", _("Agreement of counts"), "visit.view"),
    ("rule_counts_list", _("How the rules do"), "visit.review"),
    ("rescore_list", _("Scoring anew"), "visit.rescore"),
    ("group_trail", _("Rights and files"), "group.trail"),
    ("group_edit", _("Settings"), "group.edit"),
)


Pages = tuple[tuple[str, Promise | str, str], ...]


def shell(request: HttpRequest) -> dict[str, Any]:
    """Template context of the frame; views set `request.current_group`."""
    group: Group | None = getattr(request, "current_group", None)
    return {
        "person": getattr(request, "person", None),
        "current_group": group,
        "nav_items": _work_ways(request, group) if group else [],
        "care_items": _ways_on(request, group, CARE_PAGES) if group else [],
        "is_demo": settings.DEMO,
    }


def _work_ways(request: HttpRequest, group: Group) -> list[dict[str, Any]]:
    """The daily ways, with that to the bank, which is one for all of a person's groups, after the desk."""
    ways = _ways_on(request, group, WORK_PAGES)
    if allowed(request.person, "visit.submit", group):  # type: ignore[attr-defined]
        ways.insert(1, {"label": _("On the bank"), "url": reverse("bank_home"), "current": False})
    return ways


def _ways_on(request: HttpRequest, group: Group, pages: Pages) -> list[dict[str, Any]]:
    person = request.person  # type: ignore[attr-defined]
    return [
        {"label": label, "url": (url := _address(name, group.slug)), "current": request.path == url}
        for name, label, action in pages
        if allowed(person, action, group)
    ]


# Worked out once for each group: two dozen in every frame took a thirtieth of a page's time. Of 200 groups.
@lru_cache(maxsize=5_000)
def _address(name: str, slug: str) -> str:
    return reverse(name, args=[slug])
