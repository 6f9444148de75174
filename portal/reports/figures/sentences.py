"""The year in plain sentences, each built from the figures."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

Figures = Mapping[str, Any]


def summarise(figures: Figures) -> list[str]:
    """One page of sentences for a reader who reads nothing else; what does not apply is left out."""
    return [sentence for each in SENTENCES for sentence in [each(figures)] if sentence]


def _made(figures: Figures) -> str:
    totals = figures["totals"]
    return _("Volunteers made %(made)s to %(sites)s; %(planned)s had been planned.") % {
        "made": _visits(totals["made"]),
        "sites": ngettext("%d site", "%d sites", totals["sites"]) % totals["sites"],
        "planned": totals["planned"],
    }


def _not_made(figures: Figures) -> str:
    totals = figures["totals"]
    if not totals["not_made"]:
        return ""
    return _("%(visits)s could not be made, most often for this reason: %(reason)s.") % {
        "visits": _visits(totals["not_made"]),
        "reason": totals["not_made_reasons"][0]["reason"],
    }


def _no_record(figures: Figures) -> str:
    missing = figures["totals"]["no_record"]
    return (
        ngettext(
            "Of %d planned visit there is no record at all: nothing is known of the river then.",
            "Of %d planned visits there is no record at all: nothing is known of the river then.",
            missing,
        )
        % missing
        if missing
        else ""
    )


def _verdicts(figures: Figures) -> str:
    totals = figures["totals"]
    tested = totals["below"] + totals["not_below"]
    if not tested:
        return _("No visit was tested against a trigger.")
    return _("%(tested)s could be tested against the trigger of their site, and %(below)d fell below it.") % {
        "tested": _visits(tested),
        "below": totals["below"],
    }


def _untested(figures: Figures) -> str:
    untested = figures["totals"]["not_tested"]
    return (
        _("%(visits)s could not be tested; the pages of the sites say why. Not tested does not mean clean.")
        % {"visits": _visits(untested)}
        if untested
        else ""
    )


def _incidents(figures: Figures) -> str:
    told = figures["incidents"]
    if not told["rows"]:
        return _("No incident was opened.")
    opened = len(told["rows"])
    return ngettext(
        "%(opened)d incident was opened. Acknowledged: %(acknowledged)d.",
        "%(opened)d incidents were opened. Acknowledged: %(acknowledged)d.",
        opened,
    ) % {"opened": opened, "acknowledged": told["acknowledged"]}


def _response(figures: Figures) -> str:
    hours = figures["incidents"]["median_hours"]
    if hours is None:
        return ""
    return _("Half of the acknowledgements came within %(hours)s hours.") % {"hours": number_format(hours, 1)}


def _false_alarms(figures: Figures) -> str:
    false = figures["incidents"]["false_alarms"]
    return (
        ngettext(
            "%d incident proved to be a false alarm: withdrawn, not confirmed, or an error of method.",
            "%d incidents proved to be false alarms: withdrawn, not confirmed, or an error of method.",
            false,
        )
        % false
        if false
        else ""
    )


def _effort(figures: Figures) -> str:
    effort = figures["effort"]
    if not effort["visits"]:
        return ""
    return _("%(people)s took part and kicked for %(minutes)d minutes in all.") % {
        "people": ngettext("%d person", "%d people", effort["volunteers"]) % effort["volunteers"],
        "minutes": effort["kicking_minutes"],
    }


def _waiting(figures: Figures) -> str:
    waiting = figures["totals"]["waiting"]
    return (
        ngettext(
            "%d visit still waits to be checked and is in no other figure of this report.",
            "%d visits still wait to be checked and are in no other figure of this report.",
            waiting,
        )
        % waiting
        if waiting
        else _("All visits on record for the year have been checked.")
    )


def _visits(number: int) -> str:
    return ngettext("%d visit", "%d visits", number) % number


SENTENCES: tuple[Callable[[Figures], str], ...] = (
    _made,
    _not_made,
    _no_record,
    _verdicts,
    _untested,
    _incidents,
    _response,
    _false_alarms,
    _effort,
    _waiting,
)
