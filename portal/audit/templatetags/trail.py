"""Words of the trail for templates."""

from __future__ import annotations

from django import template

from portal.audit.models import AuditEntry
from portal.audit.words import way_of

register = template.Library()


@register.filter
def came(entry: AuditEntry) -> str:
    """How an entry came into the portal, after a dot; nothing where that was not kept."""
    return f" · {way}" if (way := way_of(entry)) else ""
