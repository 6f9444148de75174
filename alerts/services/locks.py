"""The one lock of an incident: whoever changes it or its repeat visits holds its row first."""

from __future__ import annotations

from alerts.models import Incident


def locked_incident(incident: Incident) -> Incident:
    """The incident read anew with its row held until the transaction ends."""
    rows = Incident.objects.filter(group=incident.group_id).select_related("group", "site")
    return rows.select_for_update(of=("self",), no_key=True).get(pk=incident.pk)
