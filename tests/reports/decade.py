"""Twenty invented sites with ten years of monthly visits: what a large group's report stands on."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import cache
from typing import Any
from uuid import uuid4

import numpy as np
from django.utils import timezone

from alerts.models import Incident, Trigger, Verdict
from scoring.indices import score_sample
from scoring.samples import Count
from scoring.tables import read_table
from surveys.models import Site, SpotEffort, TaxonCount, Visit, VisitScore
from tests.conftest import Cast
from tests.factories import SiteFactory

SITES, YEARS, LAST_YEAR = 20, 10, 2025
TRIGGER = 4.6
POOL = 240
# Codes of the site that falls in the last year, and of the one that rises all along.
FALLING, RISING = "AL1", "AL2"
OUTCOMES = ("source_stopped", "natural", "not_confirmed", "source_suspected")
RIVERS = ("Alder Beck", "Withy Brook", "Long Sike", "Miller's Water")
# As many families as a riffle holds over the years.
TAXA = [row["taxon"] for row in read_table("bmwp")][::3]


def fill_decade(cast: Cast, *, sites: int = SITES, years: int = YEARS) -> None:
    """Write `years` years of monthly visits until 2025 at `sites` sites, with verdicts and incidents."""
    rng = np.random.default_rng(7)
    places = _sites(cast, sites, rng)
    visits = [
        _visit(cast, site, day)
        for site in places
        for day in _days(rng, LAST_YEAR - years + 1)
        if rng.random() > 0.06
    ]
    Visit.objects.bulk_create(visits)
    _record(visits, rng)
    _judge(cast, places, visits)


def _sites(cast: Cast, number: int, rng: np.random.Generator) -> list[Site]:
    """Sites along four rivers, each flowing to the next, the rivers meeting the first one."""
    Site.objects.of_group(cast.group).filter(pk=cast.site.pk).update(
        closed_on=date(2001, 1, 1), opened_on=date(2001, 1, 1)
    )
    made: list[Site] = []
    for place in range(number):
        river, step = divmod(place, 5)
        lower = made[-1] if step else (made[2] if river else None)
        made.append(
            SiteFactory(
                group=cast.group,
                code=f"{RIVERS[river % 4][:2].upper()}{step + 1}",
                name=("Old mill", "Stepping stones", "Long meadow", "Packhorse bridge", "Upper ford")[step],
                river=RIVERS[river % 4],
                latitude=54.4 + 0.012 * step * (1 if river % 2 else -1) + 0.01 * river + rng.normal(0, 0.002),
                longitude=-2.5 - 0.02 * step - 0.012 * river + rng.normal(0, 0.003),
                opened_on=date(LAST_YEAR - YEARS, 1, 1),
                downstream=lower,
            )
        )
    return made


def _days(rng: np.random.Generator, first_year: int) -> Iterator[date]:
    for year in range(first_year, LAST_YEAR + 1):
        for month in range(1, 13):
            yield date(year, month, 1) + timedelta(days=int(rng.integers(2, 26)))


def _visit(cast: Cast, site: Site, day: date) -> Visit:
    return Visit(
        id=uuid4(),
        group=cast.group,
        site=site,
        recording_list=site.recording_list,
        visited_on=day,
        entered_by=cast.volunteer,
        recorder=cast.volunteer,
        partner=cast.other_volunteer,
        started_at=time(10),
        ended_at=time(11, 30),
        submitted_at=timezone.now(),
        status="approved",
        reviewed_by=cast.coordinator,
        reviewed_at=timezone.now(),
    )


@cache
def _pool() -> list[tuple[dict[str, int], list[dict[str, Any]]]]:
    """Samples with their scores, drawn from for all visits: scoring is not what is timed here."""
    rng = np.random.default_rng(11)
    samples = [_sample(rng, poor=number % 12 == 0) for number in range(POOL)]
    return sorted(samples, key=lambda sample: next(row["value"] for row in sample[1] if row["index"] == "aspt"))


def _sample(rng: np.random.Generator, *, poor: bool) -> tuple[dict[str, int], list[dict[str, Any]]]:
    names = (
        ("Chironomidae", "Oligochaeta", "Asellidae", "Baetidae")
        if poor
        else rng.choice(TAXA, 16, replace=False)
    )
    counts = {str(name): int(rng.integers(1, 90)) for name in names}
    scores = score_sample(Count(taxon, count) for taxon, count in counts.items())
    rows = [
        {
            "index": index,
            "version": each.version,
            "value": each.value,
            "why_none": each.why_none,
            "left_out": list(each.left_out),
        }
        for index, each in scores.items()
    ]
    return counts, rows


def _record(visits: list[Visit], rng: np.random.Generator) -> None:
    drawn = [(visit, *_pool()[_drawn(visit, rng)]) for visit in visits]
    TaxonCount.objects.bulk_create(
        TaxonCount(visit=visit, taxon=taxon, count=count)
        for visit, counts, _ in drawn
        for taxon, count in counts.items()
    )
    SpotEffort.objects.bulk_create(
        SpotEffort(visit=visit, number=n, kicks=3, seconds=Decimal(30)) for visit in visits for n in (1, 2, 3)
    )
    VisitScore.objects.bulk_create(VisitScore(visit=visit, **row) for visit, _, rows in drawn for row in rows)


def _drawn(visit: Visit, rng: np.random.Generator) -> int:
    """A place in the pool, which runs from poor to good: one site falls in the end, one rises all along."""
    year = visit.visited_on.year
    if visit.site.code == FALLING and year == LAST_YEAR:
        return int(rng.integers(0, 80))
    if visit.site.code == RISING:
        return int(rng.integers(0, 60)) + 18 * (year - LAST_YEAR + YEARS - 1)
    return int(rng.integers(0, POOL))


def _judge(cast: Cast, sites: list[Site], visits: list[Visit]) -> None:
    triggers = {
        site.pk: Trigger.objects.create(
            group=cast.group,
            site=site,
            index="aspt",
            level=TRIGGER,
            valid_from=date(2016, 6, 1),
            reason="Agreed.",
        )
        for site in sites
    }
    scores = VisitScore.objects.of_group(cast.group).filter(index="aspt")
    values = {each.visit_id: each.value or 0.0 for each in scores}
    verdicts = [
        Verdict(
            group=cast.group,
            visit=visit,
            trigger=triggers[visit.site_id],
            value=values[visit.pk],
            outcome="below" if values[visit.pk] < TRIGGER else "not_below",
        )
        for visit in visits
    ]
    Verdict.objects.bulk_create(verdicts)
    low = [each for each in verdicts if each.outcome == "below" and each.visit.visited_on.year == LAST_YEAR]
    for number, each in enumerate(low, start=1):
        _open_incident(cast, each.visit, number)


def _open_incident(cast: Cast, visit: Visit, number: int) -> None:
    """One that was acknowledged the next morning and closed after nine days, by turns for different reasons."""
    opened = timezone.make_aware(datetime.combine(visit.visited_on, time(13)))
    incident = Incident.objects.create(
        group=cast.group,
        site=visit.site,
        year=LAST_YEAR,
        number=number,
        state="closed",
        outcome=OUTCOMES[number % len(OUTCOMES)],
        opened_at=opened,
        acknowledged_at=opened + timedelta(hours=1 + number % 20),
        closed_at=opened + timedelta(days=9),
    )
    incident.visits.set([visit])
