"""An invented year of Alder Beck Watch, row by row, so that every figure can be counted by hand."""

from __future__ import annotations

import re
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from django.utils import timezone

from alerts.models import Incident, Trigger, Verdict
from portal.accounts.models import Membership, User
from portal.reports import document
from portal.reports.figures import gather_figures
from portal.reports.models import YearlyReport
from portal.reports.services import Words, make_report, making, reword_report
from scoring.indices import score_sample
from scoring.samples import Count
from surveys.models import Finding, Site, SpotEffort, TaxonCount, Visit, VisitScore
from tests.conftest import Cast
from tests.factories import CLEAN_COUNTS, SiteFactory, VisitFactory

YEAR = 2025
# BMWP 4 + 2 + 1 + 3 = 10 on 4 families: ASPT 2.5.
POOR_COUNTS = {"Baetidae": 3, "Chironomidae": 60, "Oligochaeta": 90, "Asellidae": 40}


def moment(day: date, hour: int = 12) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(hour)))


class YearBook:
    """Writes down visits and what came of them, without going through the services."""

    def __init__(self, cast: Cast) -> None:
        self.cast, self.group, self.site = cast, cast.group, cast.site
        Site.objects.of_group(self.group).update(opened_on=date(YEAR, 1, 1))
        self.site.refresh_from_db()

    def visit(self, day: date, counts: dict[str, int] = CLEAN_COUNTS, **fields: Any) -> Visit:
        """An approved visit by volunteer and other volunteer, scored, with the standard effort."""
        usual = {
            "site": self.site,
            "visited_on": day,
            "entered_by": self.cast.volunteer,
            "recorder": self.cast.volunteer,
            "partner": self.cast.other_volunteer,
            "started_at": time(10),
            "ended_at": time(11, 30),
            "status": "approved",
            "reviewed_by": self.cast.coordinator,
            "reviewed_at": moment(day, 20),
        }
        visit = VisitFactory(**usual | fields)
        if visit.was_made:
            self._record(visit, counts)
        return visit

    def _record(self, visit: Visit, counts: dict[str, int]) -> None:
        TaxonCount.objects.bulk_create(
            TaxonCount(visit=visit, taxon=taxon, count=count) for taxon, count in counts.items()
        )
        SpotEffort.objects.bulk_create(
            SpotEffort(visit=visit, number=n, kicks=3, seconds=Decimal(30)) for n in (1, 2, 3)
        )
        scores = score_sample(Count(taxon, count) for taxon, count in counts.items())
        VisitScore.objects.bulk_create(
            VisitScore(
                visit=visit,
                index=index,
                version=score.version,
                value=score.value,
                why_none=score.why_none,
                left_out=list(score.left_out),
            )
            for index, score in scores.items()
        )

    def not_made(self, day: date, reason: str = "too_high", **fields: Any) -> Visit:
        return self.visit(day, was_made=False, not_made_reason=reason, **fields)

    def trigger(self, level: float, valid_from: date, index: str = "aspt", site: Site | None = None) -> Trigger:
        return Trigger.objects.create(
            group=self.group,
            site=site or self.site,
            index=index,
            level=level,
            valid_from=valid_from,
            reason="Agreed.",
        )

    def verdict(self, visit: Visit, outcome: str, trigger: Trigger | None = None, **fields: Any) -> Verdict:
        value = 2.5 if trigger else None
        return Verdict.objects.create(
            group=self.group, visit=visit, outcome=outcome, trigger=trigger, value=value, **fields
        )

    def incident(self, *visits: Visit, **fields: Any) -> Incident:
        number = Incident.objects.of_group(self.group).count() + 1
        usual = {"group": self.group, "site": visits[0].site, "year": YEAR, "number": number}
        incident = Incident.objects.create(**usual | fields)
        incident.visits.set(visits)
        return incident

    def finding(self, visit: Visit, decision: str = "") -> Finding:
        return Finding.objects.create(
            visit=visit, rule="range", field="measurements.ph", message="High.", decision=decision
        )

    def second_site(self, **fields: Any) -> Site:
        usual = {"group": self.group, "code": "AB2", "name": "Mill bend", "opened_on": date(YEAR, 1, 1)}
        return SiteFactory(**usual | fields)

    def show_name(self, user: User) -> None:
        Membership.objects.of_group(self.group).filter(user=user).update(show_name=True)

    def figures(self, now: datetime | None = None, year: int = YEAR) -> dict[str, Any]:
        return gather_figures(self.group, year, now=now or moment(date(YEAR + 1, 2, 1)))

    def site_figures(self, site: Site | None = None) -> dict[str, Any]:
        """The figures of one site, by default the first."""
        wanted: UUID = (site or self.site).pk
        return next(each for each in self.figures()["sites"] if each["id"] == str(wanted))


def say_correction(book: YearBook, report: YearlyReport, words: str = "A visit was counted twice.") -> None:
    """Word a new edition, so that it may be published."""
    person = book.cast.person("coordinator")
    reword_report(person=person, report=report, words=Words(correction=words))
    make_report(report.pk)
    report.refresh_from_db()


_typeset = document.typeset
# Documents by their HTML with its random numbers levelled.
_set_before: dict[str, bytes] = {}
NUMBER_OF_A_ROW = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}|[0-9a-f]{40,}")


def typeset_once(html: str) -> bytes:
    """Set it, or take one that was set from the same HTML but for numbers of rows and digests.

    Setting takes a second, and most tests of reports ask only for some real document. What stands in it is for
    tests that set it themselves: test_document.py, test_whole_report.py.
    """
    level = NUMBER_OF_A_ROW.sub("", html)
    if level not in _set_before:
        _set_before[level] = _typeset(html)
    return _set_before[level]


@pytest.fixture(autouse=True)
def _set_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(document, "typeset", typeset_once)
    monkeypatch.setattr(making, "typeset", typeset_once)


@pytest.fixture
def book(cast: Cast) -> YearBook:
    return YearBook(cast)


@pytest.fixture(autouse=True)
def _media_of_this_test(settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path
