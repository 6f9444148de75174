"""Setting the level below which the agency is told."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from alerts.models import LIVE_STATES, Incident, Trigger
from alerts.queries import trigger_in_force, triggers_of
from alerts.services.locks import lock_site
from portal.accounts.access import Person, require
from portal.audit.services import record_change
from scoring.indices.methods import METHODS
from surveys.lists.recording import reasons_of
from surveys.models import Site
from surveys.texts.told import told

# A trigger fires when a score is low, so an index that rises with pollution cannot carry one.
TRIGGER_INDICES = {key: method for key, method in METHODS.items() if method.higher_is == "better"}
# Tolerant animals bring these below 0, so a level there can make sense.
MAY_BE_NEGATIVE = frozenset({"whpt", "whpt_aspt", "bankside"})


@transaction.atomic
def set_trigger(
    *,
    person: Person,
    site: Site,
    index: str,
    level: float,
    valid_from: date,
    reason: str,
    despite_provisional: bool = False,
    advice: Mapping[str, Any] | None = None,
) -> Trigger:
    """Set a site's trigger from a day on; earlier ones are kept, and old visits keep their verdicts.

    Raises ValidationError by field. Only the first trigger of a site may lie in the past: a later one would
    change what past visits should have meant. `advice` is the record of what was known of the level, if any
    (alerts.advice.levels.record_advice).
    """
    require(person, "trigger.set", site)
    lock_site(site.group_id, site.pk)
    _check_values(index, level, reason)
    _check_list(site, index)
    _check_day(site, valid_from)
    _check_own_record(person, site, index, level)
    trigger = Trigger.objects.create(
        group=site.group,
        site=site,
        index=index,
        level=level,
        valid_from=valid_from,
        set_by_id=person.user_id,
        reason=reason.strip(),
        despite_provisional=despite_provisional,
        advice=dict(advice or {}),
    )
    changes = {"index": [None, index], "level": [None, level], "valid_from": [None, valid_from.isoformat()]}
    record_change(actor=person, verb="trigger.set", thing=trigger, changes=changes, reason=reason.strip())
    return trigger


def _check_values(index: str, level: float, reason: str) -> None:
    if index not in TRIGGER_INDICES:
        raise ValidationError({"index": _("Choose one of the indices that fall when a river is polluted.")})
    if not math.isfinite(level):
        raise ValidationError({"level": _("The level must be a number.")})
    if level <= 0 and index not in MAY_BE_NEGATIVE:
        raise ValidationError({"level": _("The level must be a number above 0.")})
    if not reason.strip():
        raise ValidationError({"reason": _("Say why this level was chosen.")})


def _check_list(site: Site, index: str) -> None:
    why_not = reasons_of(site.recording_list)[index]
    if why_not:
        raise ValidationError({"index": _("The site's recording list cannot support it. %s") % told(why_not)})


def _check_day(site: Site, valid_from: date) -> None:
    is_first = not triggers_of(site).exists()
    if valid_from < timezone.localdate() and not is_first:
        raise ValidationError(
            {
                "valid_from": _(
                    "A trigger is never back-dated: choose today or a later day. Past visits keep theirs."
                )
            }
        )


def _check_own_record(person: Person, site: Site, index: str, level: float) -> None:
    """Nobody lowers a trigger while an alert from their own visit is open."""
    live = Incident.objects.filter(group=site.group_id, site=site, state__in=LIVE_STATES).first()
    now = trigger_in_force(site, timezone.localdate())
    if live is None or now is None or (index == now.index and level >= now.level):
        return
    if any(person.user_id in visit.involved_user_ids for visit in live.visits.all()):
        raise ValidationError(
            _("An alert from a visit you took part in is open at this site: another coordinator must lower it.")
        )
