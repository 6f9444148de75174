"""The words of an incident's e-mails: their first line, and what the short ones say."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from alerts.judging.figures import told_apart
from alerts.judging.verdicts import reason_words
from alerts.models import EventKind, Incident, IncidentEvent, Verdict
from scoring.indices.methods import METHODS
from surveys.models import Visit
from surveys.texts.told import told

# What has happened, as the first line of the mail says it.
HEADLINES: Mapping[str, Promise] = MappingProxyType(
    {
        EventKind.TOLD: _("A score has fallen below its trigger"),
        EventKind.NOBODY_NAMED: _("A score has fallen below its trigger, and no agency contact is named"),
        EventKind.HELD: _("A score has fallen below its trigger: the alert waits for your check"),
        EventKind.JOINED: _("A further visit is below the trigger"),
        EventKind.UPDATED: _("A visit was corrected and is still below the trigger"),
        EventKind.CONFIRMED: _("The group has checked and confirmed the low score"),
        EventKind.LIFTED: _("A visit was corrected and no longer counts as low"),
        EventKind.WITHDRAWN: _("The alert is withdrawn"),
        EventKind.COORDINATORS_TOLD: _("Nobody has acknowledged the alert: please telephone the agency"),
        EventKind.UNANSWERED: _("The first contact has not acknowledged; the next one is told"),
        EventKind.REMINDED: _("Please acknowledge the alert: nobody has yet"),
        EventKind.INVESTIGATED: _("The agency is looking into it"),
        EventKind.FORWARDED: _("The alert was passed on to a colleague"),
        EventKind.QUIET: _("A score has fallen below its trigger while the site is quiet"),
        EventKind.REPEAT_ASKED: _("A repeat visit is wanted"),
        EventKind.REPEAT_TAKEN: _("A repeat visit has been taken on"),
        EventKind.REPEAT_MADE: _("The repeat visit has been made"),
        EventKind.REPEAT_LAPSED: _("No repeat visit was made in time"),
        EventKind.CLOSED: _("The incident is closed"),
        EventKind.UNDELIVERABLE: _("A message to the agency could not be delivered"),
    }
)
# These carry the whole evidence; the others are short.
WITH_EVIDENCE = frozenset(
    {
        EventKind.TOLD,
        EventKind.NOBODY_NAMED,
        EventKind.HELD,
        EventKind.JOINED,
        EventKind.UPDATED,
        EventKind.CONFIRMED,
        EventKind.REMINDED,
        EventKind.QUIET,
    }
)


def lines_of(incident: Incident, visit: Visit, verdict: Verdict, step: IncidentEvent) -> list[str]:
    """The paragraphs of a mail without evidence."""
    if step.kind in (EventKind.LIFTED, EventKind.WITHDRAWN):
        return [_what_became(visit, verdict), *reason_words(verdict.reasons), _what_follows(incident)]
    if step.kind == EventKind.UNANSWERED:
        return [_now("Not acknowledged in time by: %(names)s.") % {"names": step.note}]
    if step.kind == EventKind.COORDINATORS_TOLD:
        return [
            _now("Every contact named for this site has been told. Please telephone the agency yourselves.")
        ]
    if step.kind == EventKind.CLOSED and incident.outcome:
        return [closing_words(incident)]
    return [step.note] if step.note else []


def closing_words(incident: Incident) -> str:
    """How it ended, and what was found."""
    return f"{incident.outcome_words}. {incident.outcome_note}".strip()


def low_visit_words(visit: Visit) -> str:
    """A further low visit in one phrase: "4 May 2026: BMWP 21, below the trigger of 30"."""
    verdict = visit.verdict
    assert verdict.trigger is not None
    assert verdict.value is not None
    method = METHODS[verdict.trigger.index]
    score, trigger, _between = told_apart(verdict.value, verdict.trigger.level, method)
    words = _now("%(day)s: %(index)s %(score)s, below the trigger of %(trigger)s")
    day = date_format(visit.visited_on, "j F Y")
    return words % {"day": day, "index": told(method.name), "score": score, "trigger": trigger}


def _what_became(visit: Visit, verdict: Verdict) -> str:
    day = date_format(visit.visited_on, "j F Y")
    if verdict.outcome == Verdict.Outcome.NOT_TESTED or verdict.trigger is None:
        words = _now("The visit of %(day)s was corrected and is no longer tested against the trigger.")
        return words % {"day": day}
    assert verdict.value is not None
    method = METHODS[verdict.trigger.index]
    score, trigger, _between = told_apart(verdict.value, verdict.trigger.level, method)
    figures = {"day": day, "index": told(method.name), "score": score, "trigger": trigger}
    words = _now(
        "The visit of %(day)s was corrected: %(index)s %(score)s, not below the trigger of %(trigger)s."
    )
    return words % figures


def _what_follows(incident: Incident) -> str:
    if incident.is_live:
        return _now("The incident goes on: other visits of it are still below the trigger.")
    return _now("No other visit of this incident is below the trigger. Nothing more is asked of you.")
