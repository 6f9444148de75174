"""What pages show of verdicts, triggers, contacts and incidents.

Templates of lower floors use these tags; their Python never imports alerts.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django import template
from django.db.models import QuerySet
from django.template.defaultfilters import floatformat
from django.utils import timezone
from django.utils.safestring import SafeString

from alerts.charts import of_site
from alerts.judging.figures import told_apart
from alerts.judging.rescored import Moved, moved_score
from alerts.judging.verdicts import reason_words
from alerts.models import LIVE_STATES, Incident, IncidentState, QuietPeriod, SiteContact, Trigger, Verdict
from alerts.queries import incidents_of, list_of_triggers, quiet_now, site_contacts_of
from alerts.repeats.wanted import open_repeats
from alerts.services.verdicts import can_test_anyway
from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.prepared import planned
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.charts import HistoryRow
from scoring.indices.methods import METHODS
from surveys.badges import badge
from surveys.lists.recording import first_index
from surveys.models import Site, Visit
from surveys.texts.told import told

register = template.Library()

VERDICT_BADGES = {
    Verdict.Outcome.BELOW: ("danger", "below"),
    Verdict.Outcome.NOT_BELOW: ("ok", "ok"),
    Verdict.Outcome.NOT_TESTED: ("", "untested"),
}
STATE_BADGES = {
    IncidentState.HELD: ("info", "waiting"),
    IncidentState.OPEN: ("danger", "below"),
    IncidentState.ACKNOWLEDGED: ("caution", "ok"),
    IncidentState.INVESTIGATED: ("caution", "search"),
    IncidentState.WITHDRAWN: ("", "close"),
    IncidentState.CLOSED: ("ok", "ok"),
}
INCIDENTS_SHOWN = 12


@register.simple_tag
def attach_verdicts(visits: Iterable[Visit]) -> str:
    """Give each visit its verdict as `visit.shown_verdict` (or None), in one query or none.

    None is needed where the page has read the verdicts along with the visits.
    """
    visits = list(visits)
    unread = [visit for visit in visits if "verdict" not in visit._state.fields_cache]
    rows = Verdict.objects.across_groups("of visits that the page may show").select_related("trigger")
    found = rows.filter(visit_id__in=[visit.pk for visit in unread]) if unread else ()
    by_visit = {each.visit_id: each for each in found}
    for visit in visits:
        visit.shown_verdict = by_visit.get(visit.pk, _read_along(visit))  # type: ignore[attr-defined]
    return ""


def _read_along(visit: Visit) -> Verdict | None:
    found: Verdict | None = visit._state.fields_cache.get("verdict")
    return found


def _verdict(visit: Visit) -> Verdict | None:
    if not hasattr(visit, "shown_verdict"):
        attach_verdicts([visit])
    found: Verdict | None = visit.shown_verdict  # type: ignore[attr-defined]
    return found


@register.simple_tag
def verdict_badge(visit: Visit) -> SafeString:
    """Below, not below or not tested, by word, shape and colour; a visit without a verdict was not tested."""
    verdict = _verdict(visit)
    outcome = Verdict.Outcome(verdict.outcome) if verdict else Verdict.Outcome.NOT_TESTED
    kind, icon = VERDICT_BADGES[outcome]
    return badge(kind, icon, str(outcome.label))


@register.inclusion_tag("alerts/_verdict_reasons.html")
def verdict_reasons(visit: Visit) -> dict[str, Any]:
    """Why the visit was not tested, what was set aside to test it, and whether its score has changed since."""
    verdict = _verdict(visit)
    return {
        "verdict": verdict,
        "held": _held_against(verdict),
        "reasons": reason_words(verdict.reasons) if verdict else [],
        "set_aside": reason_words(verdict.set_aside) if verdict else [],
        "can_test": verdict is not None and can_test_anyway(verdict),
        "visit": visit,
    }


def _held_against(verdict: Verdict | None) -> dict[str, str] | None:
    """The score that was tested and the level of its trigger, told apart even where they are close."""
    if verdict is None or verdict.outcome == Verdict.Outcome.NOT_TESTED:
        return None
    if verdict.trigger is None or verdict.value is None:
        return None
    method = METHODS[verdict.trigger.index]
    score, level, _between = told_apart(verdict.value, verdict.trigger.level, method)
    return {"method": told(method.name), "score": score, "level": level}


@register.simple_tag
def moved_since(visit: Visit) -> Moved | None:
    """What has become of the score that the visit was tested with, where it was scored anew since."""
    verdict = _verdict(visit)
    return moved_score(visit, verdict) if verdict else None


@register.filter
def may_be_tested_anyway(visit: Visit) -> bool:
    """Whether a coordinator could have this visit tested all the same."""
    verdict = _verdict(visit)
    return verdict is not None and can_test_anyway(verdict)


@register.simple_tag
def incident_badge(incident: Incident) -> SafeString:
    """The state of an incident, by word, shape and colour."""
    kind, icon = STATE_BADGES[IncidentState(incident.state)]
    return badge(kind, icon, str(incident.get_state_display()))


@register.inclusion_tag("alerts/_site_trigger.html")
def site_trigger(site: Site) -> dict[str, Any]:
    """The trigger in force at a site today."""
    trigger = _trigger_today(site)
    return {"trigger": trigger, "words": trigger_words(trigger) if trigger else ""}


@register.filter
def trigger_words(trigger: Trigger) -> str:
    """A trigger in one phrase: "BMWP below 30"."""
    return f"{told(METHODS[trigger.index].name)} < {trigger.level:g}"


@register.simple_tag
def site_quiet(site: Site) -> QuietPeriod | None:
    """The time of quiet in which the site is now, if any."""
    return quiet_now(site)


@register.inclusion_tag("alerts/_site_contacts.html")
def site_contacts(site: Site) -> dict[str, Any]:
    """Who is told of a low score at the site, in order."""
    return {"contacts": _contacts(site.group, site)}


@planned
def _contacts(group: Group, site: Site) -> GroupOwnedQuerySet[SiteContact]:
    # Both are known by their keys alone: the site is given its group.
    site.group = group
    return site_contacts_of(site)


@register.inclusion_tag("alerts/_site_incidents.html")
def site_incidents(site: Site) -> dict[str, Any]:
    """The site's incidents, newest first."""
    return {"incidents": _incidents(site.group, site)}


@planned
def _incidents(group: Group, site: Site) -> GroupOwnedQuerySet[Incident]:
    return incidents_of(group).filter(site=site)[:INCIDENTS_SHOWN]


@register.inclusion_tag("alerts/_desk_repeats.html")
def desk_repeats(person: Person, group: Group) -> dict[str, Any]:
    """Repeat visits for this person to take on or to make; draws nothing where there is none."""
    return {"repeats": open_repeats(person, group)}


@register.simple_tag
def live_incidents(group: Group) -> QuerySet[Incident]:
    """Incidents of a group that are not over."""
    return incidents_of(group).filter(state__in=LIVE_STATES)


@register.simple_tag
def site_charts(site: Site, index: str = "", emphasis: date | None = None) -> dict[str, Any]:
    """The site's history as SVG, "wide" and "narrow", and its figures as a "table" (empty without any).

    Without an index, that of the trigger in force.
    """
    trigger = _trigger_today(site)
    index = index or (trigger.index if trigger else first_index(site.recording_list))
    wide, narrow, table = of_site.set_chart(site, index, _triggers(site), emphasis)
    return {"wide": wide, "narrow": narrow, "table": table}


@register.filter
def score_with_range(row: HistoryRow) -> str:
    """The score in a table behind a chart, with what else is possible: "60 (52–71)"."""
    if row.value is None:
        return "–"
    figures = [floatformat(figure, -2) for figure in (row.value, row.low, row.high) if figure is not None]
    is_uncertain = len(figures) == 3 and row.low != row.high
    return "{} ({}–{})".format(*figures) if is_uncertain else figures[0]


def _triggers(site: Site) -> list[Trigger]:
    """The site's triggers, read once for all parts of a page."""
    if not hasattr(site, "shown_triggers"):
        site.shown_triggers = list_of_triggers(site)  # type: ignore[attr-defined]
    found: list[Trigger] = site.shown_triggers  # type: ignore[attr-defined]
    return found


def _trigger_today(site: Site) -> Trigger | None:
    today = timezone.localdate()
    return next((each for each in reversed(_triggers(site)) if each.valid_from <= today), None)
