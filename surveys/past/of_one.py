"""What the rules look at of a site's past for one submission, in one statement and no more than they look at.

`of_many.py` reads whole pasts, once for all visits of a sheet. For a single visit that would be most of what
taking it in costs. Ten years have thousands of finds, of which the rules want to know of nearly every taxon
only that it is nothing special: so PostgreSQL looks for one earlier find that shows it, the newest first, and
adds up the past of those taxa alone of which there is none.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db import connection

from surveys.comparing.seasons import months_around
from surveys.lists.recording import first_index
from surveys.measuring.quantities import QUANTITIES, Quantity
from surveys.models import Site
from surveys.past.of_many import READINGS_READ
from surveys.rules.counting import TIMES_THE_MOST
from surveys.rules.types import SiteHistory
from surveys.submission.types import Entry, Submission

# The second wall holds for each table as for any query. Approved visits only, but for readings: a slip that
# still waits must not excuse the next one; with readings the sheer number matters, and medians bear a slip.
STATEMENT = """
WITH past AS MATERIALIZED (
    SELECT id, visited_on, EXTRACT(MONTH FROM visited_on)::int AS month, was_made, status
    FROM surveys_visit WHERE site_id = %s::uuid AND id <> %s::uuid ORDER BY visited_on DESC
), named AS MATERIALIZED (
    SELECT told.taxon, told.fewest, EXISTS (
        SELECT FROM past JOIN surveys_taxoncount found ON found.visit_id = past.id AND found.taxon = told.taxon
        WHERE past.status = 'approved' AND past.month = ANY (%s::int[]) AND found.count IS DISTINCT FROM 0
            AND COALESCE(found.count, found.high, found.low, 0)::bigint * %s::int >= told.fewest
        OFFSET 0
    ) AS is_commonplace
    FROM UNNEST(%s::text[], %s::bigint[]) AS told (taxon, fewest)
)
SELECT
    (SELECT COUNT(*) FROM past WHERE was_made AND visited_on = %s::date),
    ARRAY(SELECT month FROM past WHERE was_made AND status = 'approved'),
    ARRAY(SELECT taxon FROM named WHERE is_commonplace),
    (
        SELECT JSONB_AGG(JSONB_BUILD_ARRAY(whole.taxon, whole.most, whole.months))
        FROM (
            SELECT found.taxon, MAX(COALESCE(found.count, found.high, found.low, 0)) AS most,
                ARRAY_AGG(past.month) AS months
            FROM past JOIN surveys_taxoncount found ON found.visit_id = past.id
                AND found.taxon = ANY (ARRAY(SELECT taxon FROM named WHERE NOT is_commonplace))
            WHERE past.status = 'approved' AND found.count IS DISTINCT FROM 0
            GROUP BY found.taxon
        ) whole
    ),
    ARRAY(
        SELECT score.value FROM past JOIN surveys_visitscore score ON score.visit_id = past.id
        WHERE past.status = 'approved' AND score.index = %s::text AND score.is_current
            AND score.value IS NOT NULL
        ORDER BY past.visited_on DESC, score.value DESC LIMIT %s::int
    ),
    (
        SELECT JSONB_AGG(JSONB_BUILD_ARRAY(read.quantity, read.values, read.units))
        FROM (
            SELECT taken.quantity, ARRAY_AGG(taken.value ORDER BY past.visited_on DESC) AS values,
                ARRAY_AGG(taken.unit ORDER BY past.visited_on DESC) AS units
            FROM past JOIN surveys_measurement taken ON taken.visit_id = past.id
            WHERE past.status <> 'returned' AND NOT taken.is_below_limit AND taken.quantity = ANY (%s::text[])
            GROUP BY taken.quantity
        ) read
    )
"""
# A quantity with its readings, newest first, and the unit of each.
Read = tuple[str, list[float], list[str]]


@dataclass(frozen=True)
class PastOfOne:
    """What a submission is held against, and no other one."""

    of: Submission
    others_that_day: int
    history: SiteHistory

    def same_day(self, submission: Submission) -> int:
        """How many visits of its day there are beside it."""
        return self.others_that_day if submission.was_made else 0

    def before(self, submission: Submission) -> SiteHistory:
        """What the rules are told; raises ValueError for a submission that was not asked about."""
        if submission != self.of:
            raise ValueError("This past was read for another submission.")
        return self.history

    def add(self, submission: Submission) -> None:
        """Nothing comes after the only one."""


def past_of_one(submission: Submission, site: Site) -> PastOfOne:
    """Read it, as if the visit of that number had never been; the site is given with its recording list."""
    index = first_index(site.recording_list)
    is_scored = submission.was_made and bool(submission.counts)
    same_day, months, commonplace, finds, scores, read = _asked(submission, site, index if is_scored else None)
    found = json.loads(finds or "[]")
    return PastOfOne(
        submission,
        same_day,
        SiteHistory(
            approved_visits=len(months),
            most={taxon: most for taxon, most, _months in found},
            months={taxon: tuple(seen) for taxon, _most, seen in found},
            commonplace=frozenset(commonplace),
            readings=_readings(json.loads(read or "[]")),
            visits_by_month=Counter(months),
            score_index=index,
            scores=tuple(scores),
        ),
    )


def _asked(submission: Submission, site: Site, index: str | None) -> tuple[Any, ...]:
    fewest = _fewest(submission.counts)
    season = list(months_around(submission.visited_on.month))
    finds = (season, TIMES_THE_MOST, list(fewest), list(fewest.values()))
    quantities = [each.quantity for each in submission.measurements]
    values = (site.pk, submission.id, *finds, submission.visited_on, index, READINGS_READ, quantities)
    database: Any = connection
    # It takes longer to plan than to answer.
    with database.plans_kept(), database.cursor() as cursor:
        cursor.execute(STATEMENT, values)
        row: tuple[Any, ...] = cursor.fetchone()
    return row


def _fewest(entries: Iterable[Entry]) -> Mapping[str, int]:
    """How many there are of each taxon at least, by its largest line; no rule asks about what is absent."""
    fewest: dict[str, int] = {}
    for each in entries:
        if each.is_present:
            fewest[each.taxon] = max(each.fewest, fewest.get(each.taxon, 0))
    return fewest


def _readings(read: Iterable[Read]) -> Mapping[str, tuple[float, ...]]:
    """The newest readings of each quantity; of one that is recorded no longer nothing is known."""
    return {
        quantity: tuple(
            _in_first_unit(QUANTITIES[quantity], value, unit)
            for value, unit in zip(values[:READINGS_READ], units, strict=False)
        )
        for quantity, values, units in read
        if quantity in QUANTITIES
    }


def _in_first_unit(quantity: Quantity, value: float, unit: str) -> float:
    # A reading has fewer digits than a float holds, so it is told to the last one.
    is_other = unit in quantity.other_units
    return float(quantity.in_first_unit(Decimal(repr(value)), unit)) if is_other else value
