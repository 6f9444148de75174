"""Quiet for maintenance: no agency is told of a site, for a reason and with an end."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from alerts.models import Incident, IncidentState, QuietPeriod
from alerts.queries import quiet_now
from alerts.services.events import save_change
from portal.accounts.access import Person, require
from portal.audit.services import record_change
from surveys.models import Site

# Longer than this nothing is maintenance any more: a trigger that should not fire is to be changed.
LONGEST = timedelta(days=60)


@transaction.atomic
def begin_quiet(*, person: Person, site: Site, ends_at: datetime, reason: str) -> QuietPeriod:
    """Tell no agency of low scores at a site until `ends_at`; coordinators still hear of them.

    Raises ValidationError at the field concerned: no reason, an end that is past or more than 60 days away, or
    a site that is quiet already.
    """
    require(person, "trigger.set", site)
    now = timezone.now()
    if not reason.strip():
        raise ValidationError({"reason": _("Say why: it stays in the group's records.")})
    if not now < ends_at <= now + LONGEST:
        raise ValidationError({"ends_at": _("Choose an end within the next 60 days.")})
    # Two coordinators at once queue for the site's row.
    Site.objects.filter(group=site.group_id).select_for_update(no_key=True).get(pk=site.pk)
    if quiet_now(site) is not None:
        raise ValidationError(_("This site is quiet already."))
    quiet = QuietPeriod.objects.create(
        group_id=site.group_id, site=site, ends_at=ends_at, reason=reason.strip(), set_by_id=person.user_id
    )
    changes = {"ends_at": [None, ends_at.isoformat()]}
    record_change(actor=person, verb="quiet.begun", thing=quiet, changes=changes, reason=quiet.reason)
    return quiet


@transaction.atomic
def end_quiet(*, person: Person, quiet: QuietPeriod) -> QuietPeriod:
    """End it now; what it held back leaves within a minute. Over already, it stays as it was."""
    require(person, "trigger.set", quiet)
    rows = QuietPeriod.objects.filter(group=quiet.group_id).select_for_update(no_key=True)
    quiet = rows.get(pk=quiet.pk)
    before, now = quiet.ends_at, timezone.now()
    if before <= now:
        return quiet
    quiet.ends_at = now
    quiet.save(update_fields=["ends_at"])
    changes = {"ends_at": [before.isoformat(), now.isoformat()]}
    record_change(actor=person, verb="quiet.ended", thing=quiet, changes=changes)
    held = Incident.objects.filter(group=quiet.group_id, site=quiet.site_id, state=IncidentState.HELD)
    for incident in held.filter(send_by=before).select_for_update(no_key=True):
        save_change(incident, "incident.quiet_ended", person=person, send_by=now)
    return quiet
