"""The forms of the survey pages."""

from surveys.forms.counts import CountRow, CountSection, CountTable
from surveys.forms.entry import Mistake, Remark, VisitEntry, read_entry, visit_entry
from surveys.forms.filtering import VisitFilter
from surveys.forms.posted import data_from_post
from surveys.forms.review import (
    ApproveForm,
    DecisionForm,
    ReasonForm,
    ReturnForm,
    decision_forms,
    prefix_of,
    shown_revision,
    shown_revisions,
)
from surveys.forms.sites import SiteForm
from surveys.forms.visit import VisitForm

__all__ = [
    "ApproveForm",
    "CountRow",
    "CountSection",
    "CountTable",
    "DecisionForm",
    "Mistake",
    "ReasonForm",
    "Remark",
    "ReturnForm",
    "SiteForm",
    "VisitEntry",
    "VisitFilter",
    "VisitForm",
    "data_from_post",
    "decision_forms",
    "prefix_of",
    "read_entry",
    "shown_revision",
    "shown_revisions",
    "visit_entry",
]
