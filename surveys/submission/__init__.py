"""A submission: what somebody says of one visit, the same from page, API and spreadsheet.

`parse_submission` reads nested plain data (values may be text as typed) into a `Submission`;
`submission_data` gives a saved visit back in that form.
"""

from surveys.submission.parsing import parse_submission
from surveys.submission.types import Entry, InvalidSubmission, Problem, Reading, Spot, Submission, Timed
from surveys.submission.writing import as_data, differences, submission_data, submission_of

__all__ = [
    "Entry",
    "InvalidSubmission",
    "Problem",
    "Reading",
    "Spot",
    "Submission",
    "Timed",
    "as_data",
    "differences",
    "parse_submission",
    "submission_data",
    "submission_of",
]
