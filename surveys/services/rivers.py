"""Reports of a river's level: written, and lifted when the water has fallen."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.audit.services import record_change
from surveys.errors import NotPossible
from surveys.models import RiverReport, Site
from surveys.outings.rivers import river_at

# Common practice, no source: what was read yesterday says little of today.
HOLDS = timedelta(hours=24)
LONGEST = timedelta(days=14)
LEVELS = (Decimal(-10), Decimal(100))


@transaction.atomic
def report_river(
    *,
    person: Person,
    site: Site,
    level_m: Decimal | None = None,
    too_high: bool = False,
    holds_until: datetime | None = None,
) -> RiverReport:
    """Write down a reading of the gauge (m), or that the river is too high; for 24 h unless said.

    Raises NotPossible at its field when nothing is said, the level cannot be, or the end is past or too far.
    """
    require(person, "river.report", site)
    now = timezone.now()
    _check_level(level_m, too_high)
    end = holds_until or now + HOLDS
    _check_end(end, now)
    made = RiverReport.objects.create(
        site=site,
        level_m=level_m,
        too_high=too_high,
        reported_by_id=person.user_id,
        reported_at=now,
        holds_until=end,
    )
    said = "too high" if too_high else f"{level_m} m"
    record_change(actor=person, verb="site.river_reported", thing=site, changes={"river": [None, said]})
    return made


def _check_level(level_m: Decimal | None, too_high: bool) -> None:
    if level_m is None and not too_high:
        raise NotPossible(_("Give the reading, or say that the river is too high."), "level_m")
    if level_m is not None and not LEVELS[0] <= level_m <= LEVELS[1]:
        raise NotPossible(_("Give the reading in metres, such as 0.84."), "level_m")


def _check_end(end: datetime, now: datetime) -> None:
    if end <= now:
        raise NotPossible(_("This time is past. Give one that is still to come."), "holds_until")
    if end > now + LONGEST:
        raise NotPossible(_("Give at most 14 days; the river can be looked at again then."), "holds_until")


@transaction.atomic
def lift_river_report(*, person: Person, site: Site) -> RiverReport:
    """Say that the river is no longer too high; raises NotPossible when nothing says it is."""
    require(person, "river.report", site)
    Site.objects.of_group(site.group).select_for_update().get(pk=site.pk)
    state = river_at(site)
    if state.report is None or state.high_until is None:
        raise NotPossible(_("Nothing says at present that the river is too high here."))
    state.report.holds_until = timezone.now()
    state.report.save(update_fields=["holds_until"])
    record_change(actor=person, verb="site.river_lifted", thing=site, changes={"river": ["too high", "lifted"]})
    return state.report
