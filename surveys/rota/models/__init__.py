"""When people can, what is planned, who goes, and the calendars that say so."""

from surveys.rota.models.availability import Availability, NamedDays
from surveys.rota.models.exchanges import CoverOffer, SwapOffer
from surveys.rota.models.feeds import CalendarFeed
from surveys.rota.models.plans import LIVE, Assignment, PlannedVisit, Proposal

__all__ = [
    "LIVE",
    "Assignment",
    "Availability",
    "CalendarFeed",
    "CoverOffer",
    "NamedDays",
    "PlannedVisit",
    "Proposal",
    "SwapOffer",
]
