"""A sheet of the first weeks that waits to be loaded, with a slip for the newcomer to mend."""

from __future__ import annotations

import csv
import io
from datetime import timedelta

from django.utils import timezone

from portal.demo.settling import Settlement
from surveys.services.imports import keep_sheet

# In the weeks between a site's first day and the first visit that the demo plays.
VISITS, DAYS_APART = 6, 6
FAMILIES = ("Baetidae", "Heptageniidae", "Gammaridae", "Elmidae", "Chironomidae", "Oligochaeta")


def leave_a_sheet(settlement: Settlement) -> None:
    """Send in records as a group keeps them: a row for each visit, a column for each family."""
    site = settlement.sites[min(settlement.sites)]
    first = site.opened_on or timezone.localdate() - timedelta(days=400)
    lines: list[list[str]] = [["Station", "Day", "Water temp", *FAMILIES]]
    for number in range(VISITS):
        day = first + timedelta(days=2 + DAYS_APART * number)
        counts = [str(1 + (7 * number + 5 * place) % 30) for place in range(len(FAMILIES))]
        lines.append([site.code, day.strftime("%d/%m/%Y"), f"{8 + number},5", *counts])
    lines[3][4] = "some"
    out = io.StringIO()
    csv.writer(out).writerows(lines)
    file = io.BytesIO(out.getvalue().encode())
    person = settlement.coordinators[0]
    keep_sheet(person=person, group=settlement.group, file=file, file_name="first weeks.csv")
