"""Asking for a yearly report, making it and publishing it."""

from portal.reports.services.making import make_report
from portal.reports.services.publishing import NotReady, publish_report, request_publishing
from portal.reports.services.requesting import request_report

__all__ = ["NotReady", "make_report", "publish_report", "request_publishing", "request_report"]
