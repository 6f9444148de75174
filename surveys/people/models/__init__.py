"""Records about people."""

from surveys.people.models.enquiries import Enquiry, EnquiryAttempt, EnquiryState
from surveys.people.models.records import EmergencyContact, Minor, OtherHours, Work
from surveys.people.models.steps import EnquiryStep, StepKind
from surveys.people.models.trainings import Permit, Training, TrainingKind

__all__ = [
    "EmergencyContact",
    "Enquiry",
    "EnquiryAttempt",
    "EnquiryState",
    "EnquiryStep",
    "Minor",
    "OtherHours",
    "Permit",
    "StepKind",
    "Training",
    "TrainingKind",
    "Work",
]
