"""The forms of the pages about alerts."""

from alerts.forms.contacts import AbsenceForm, ContactForm, HoursForm, SiteContactsForm
from alerts.forms.incidents import (
    CloseForm,
    ForwardForm,
    InvestigateForm,
    NoteForm,
    OutcomeForm,
    OwnOutcomeForm,
)
from alerts.forms.policies import HolidayForm, PolicyForm, QuietForm
from alerts.forms.triggers import QuestionForm, ReasonForm, TriggerForm

__all__ = [
    "AbsenceForm",
    "CloseForm",
    "ContactForm",
    "ForwardForm",
    "HolidayForm",
    "HoursForm",
    "InvestigateForm",
    "NoteForm",
    "OutcomeForm",
    "OwnOutcomeForm",
    "PolicyForm",
    "QuestionForm",
    "QuietForm",
    "ReasonForm",
    "SiteContactsForm",
    "TriggerForm",
]
