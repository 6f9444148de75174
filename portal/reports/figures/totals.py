"""Visits planned, made and not made."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.utils import timezone

from surveys.models import Site

SUMMED = ("planned", "made", "no_record", "waiting", "below", "not_below", "not_tested")


def planned_visits(site: Site, first: date, last: date) -> int:
    """How many visits the site's interval asks for from `first` to `last`, both included, while it was open."""
    start = max(first, site.opened_on or timezone.localdate(site.created_at))
    end = min(last, site.closed_on or last)
    return max(0, ((end - start).days + 1) // site.visit_interval_days)


def add_up(sites: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """The sums over all sites, with the reasons of visits not made, the most frequent first.

    A reason that is empty stands for all that are not for the public.
    """
    sums: dict[str, Any] = {name: sum(site[name] for site in sites) for name in SUMMED}
    reasons = Counter(each["reason"] for site in sites for each in site["not_made"])
    return sums | {
        "sites": len(sites),
        "not_made": sum(reasons.values()),
        "not_made_reasons": [{"reason": reason, "visits": n} for reason, n in reasons.most_common()],
    }
