"""Triggers, verdicts on visits, agency contacts, incidents and their follow-up."""

from alerts.models.contacts import AgencyContact, ContactAbsence, ContactHours, Drill, Holiday, SiteContact
from alerts.models.incidents import (
    LIVE_STATES,
    EventKind,
    Forward,
    GroupOutcome,
    Incident,
    IncidentEvent,
    IncidentState,
    Outcome,
)
from alerts.models.policies import AlertPolicy, QuietPeriod
from alerts.models.repeats import RepeatOffer, RepeatRequest
from alerts.models.triggers import Trigger, Verdict

__all__ = [
    "LIVE_STATES",
    "AgencyContact",
    "AlertPolicy",
    "ContactAbsence",
    "ContactHours",
    "Drill",
    "EventKind",
    "Forward",
    "GroupOutcome",
    "Holiday",
    "Incident",
    "IncidentEvent",
    "IncidentState",
    "Outcome",
    "QuietPeriod",
    "RepeatOffer",
    "RepeatRequest",
    "SiteContact",
    "Trigger",
    "Verdict",
]
