"""The locks of alerts. Whoever takes several takes them in this order: visit, site, incident.

All without the key: rows that point to these are written meanwhile, by whoever waits for a later lock.
"""

from __future__ import annotations

from uuid import UUID

from alerts.models import Incident
from surveys.models import Site


def lock_site(group: UUID, site: UUID) -> None:
    """Hold the site until the transaction ends: whatever opens an incident there or says what would."""
    Site.objects.filter(group=group).select_for_update(no_key=True).get(pk=site)


def locked_incident(incident: Incident) -> Incident:
    """The incident read anew with its row held until the transaction ends.

    Whoever changes it or its repeat visits holds it first.
    """
    rows = Incident.objects.filter(group=incident.group_id).select_related("group", "site")
    return rows.select_for_update(of=("self",), no_key=True).get(pk=incident.pk)
