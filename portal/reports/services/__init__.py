"""Asking for a yearly report, making it, wording it and publishing it."""

from portal.reports.services.making import make_report
from portal.reports.services.picture import describe_picture, remove_picture, set_picture
from portal.reports.services.publishing import (
    CorrectionMissing,
    NotReady,
    publish_report,
    request_publishing,
)
from portal.reports.services.requesting import NotADraft, Words, request_report, reword_report

__all__ = [
    "CorrectionMissing",
    "NotADraft",
    "NotReady",
    "Words",
    "describe_picture",
    "make_report",
    "publish_report",
    "remove_picture",
    "request_publishing",
    "request_report",
    "reword_report",
    "set_picture",
]
