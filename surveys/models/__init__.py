"""Sites, the lists they are recorded on, and visits with all that was found."""

from surveys.models.findings import Finding, VisitScore
from surveys.models.imports import ImportRun
from surveys.models.lists import ListTaxon, RecordingList
from surveys.models.rescoring import RescoreRun
from surveys.models.samples import Measurement, Photo, SpotEffort, TaxonCount
from surveys.models.sites import Site
from surveys.models.visits import Draft, Visit

__all__ = [
    "Draft",
    "Finding",
    "ImportRun",
    "ListTaxon",
    "Measurement",
    "Photo",
    "RecordingList",
    "RescoreRun",
    "Site",
    "SpotEffort",
    "TaxonCount",
    "Visit",
    "VisitScore",
]
