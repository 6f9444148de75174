"""Sites, the lists they are recorded on, and visits with all that was found."""

from surveys.models.findings import Finding, VisitScore
from surveys.models.imports import ImportMapping, ImportRun
from surveys.models.lists import ListTaxon, RecordingList
from surveys.models.outings import Kit, KitCleaning, OutingRules, RiverReport
from surveys.models.questions import VisitQuestion
from surveys.models.returns import ReturnEvent, ReturnNotice, SafeReturn
from surveys.models.samples import Measurement, Photo, SpotEffort, TaxonCount, TimedKick
from surveys.models.sites import Site
from surveys.models.visits import Draft, Visit

__all__ = [
    "Draft",
    "Finding",
    "ImportMapping",
    "ImportRun",
    "Kit",
    "KitCleaning",
    "ListTaxon",
    "Measurement",
    "OutingRules",
    "Photo",
    "RecordingList",
    "ReturnEvent",
    "ReturnNotice",
    "RiverReport",
    "SafeReturn",
    "Site",
    "SpotEffort",
    "TaxonCount",
    "TimedKick",
    "Visit",
    "VisitQuestion",
    "VisitScore",
]
