"""The year in plain sentences, each built from the figures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

from django.utils.formats import date_format, number_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from portal.charts.words import figure

Figures = Mapping[str, Any]
Sentence = Callable[[Figures], str]


def summarise(figures: Figures) -> list[str]:
    """One page of sentences for a reader who reads nothing else; what does not apply is left out."""
    return [sentence for part in summary_parts(figures) for sentence in part["sentences"]]


def summary_parts(figures: Figures) -> list[dict[str, Any]]:
    """The same sentences under what they tell: what was done, what changed, what happened."""
    return [
        {"title": str(title), "sentences": [words for each in told if (words := each(figures))]}
        for title, told in PARTS
    ]


def _made(figures: Figures) -> str:
    totals = figures["totals"]
    return _("Volunteers made %(made)s to %(sites)s; %(planned)s had been planned.") % {
        "made": _visits(totals["made"]),
        "sites": _sites(totals["sites"]),
        "planned": totals["planned"],
    }


def _not_made(figures: Figures) -> str:
    totals = figures["totals"]
    if not totals["not_made"]:
        return ""
    visits, reason = _visits(totals["not_made"]), totals["not_made_reasons"][0]["reason"]
    if not reason:
        return _("%(visits)s could not be made.") % {"visits": visits}
    words = _("%(visits)s could not be made, most often for this reason: %(reason)s.")
    return words % {"visits": visits, "reason": reason}


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


def _where_below(figures: Figures) -> str:
    found = [(site["code"], site["below"]) for site in figures["sites"] if site["below"]]
    return _("Visits below the trigger: %(sites)s.") % {"sites": _counted(found)} if found else ""


def _deepest(figures: Figures) -> str:
    """The fall that lies furthest below its trigger, as a share of the trigger: indices differ in scale."""
    falls = [found for site in figures["sites"] for found in _falls(site)]
    if not falls:
        return ""
    _share, day, code, score, level = min(falls)
    words = _("The deepest fall was at %(site)s on %(day)s: %(score)s against a trigger of %(level)s.")
    shown = date_format(date.fromisoformat(day), "j F")
    return words % {"site": code, "day": shown, "score": figure(score), "level": figure(level)}


def _falls(site: Figures) -> list[tuple[float, str, str, float, float]]:
    below = [
        (visit["on"], visit["tested_value"], visit["trigger"])
        for visit in site["visits"]
        if visit["outcome"] == "below" and visit["tested_value"] is not None
    ]
    return [(value / level, day, site["code"], value, level) for day, value, level in below if level]


def _untested(figures: Figures) -> str:
    untested = figures["totals"]["not_tested"]
    return (
        _("%(visits)s could not be tested; the pages of the sites say why. Not tested does not mean clean.")
        % {"visits": _visits(untested)}
        if untested
        else ""
    )


def _change_of_year(figures: Figures) -> str:
    """Sites whose year differs clearly from earlier years, and how many say nothing."""
    found = [(site["code"], site["change"]["year"]) for site in figures["sites"]]
    compared = [(code, each["meaning"]) for code, each in found if each and each["low"] is not None]
    if not compared:
        return _("No site has enough earlier visits yet to set the year against.")
    better, worse = _codes(compared, "better"), _codes(compared, "worse")
    sentences = [
        _("Against earlier years, scores tell of better water at: %(sites)s.") % {"sites": better}
        if better
        else _("Against earlier years, no site shows better water."),
        _("Of worse water at: %(sites)s.") % {"sites": worse} if worse else _("None shows worse water."),
        _unclear(sum(not meaning for _code, meaning in compared), len(found) - len(compared)),
    ]
    return " ".join(sentences)


def _unclear(alike: int, unknown: int) -> str:
    words = _("No difference shows at %(alike)s, and %(unknown)s cannot be compared yet.")
    if not unknown:
        words = _("No difference shows at %(alike)s.")
    return words % {"alike": _sites(alike), "unknown": _sites(unknown)}


def _trend(figures: Figures) -> str:
    found = [(site["code"], (site["change"]["trend"] or {}).get("meaning", "")) for site in figures["sites"]]
    better, worse = _codes(found, "better"), _codes(found, "worse")
    if not (better or worse):
        return _("Over the whole record, no site shows a trend that chance alone would not often give.")
    told = [
        _("a trend to better water shows at %(sites)s") % {"sites": better} if better else "",
        _("a trend to worse water shows at %(sites)s") % {"sites": worse} if worse else "",
    ]
    return _("Over the whole record, %(trends)s.") % {"trends": "; ".join(filter(None, told))}


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


def _outcomes(figures: Figures) -> str:
    found = Counter(row["outcome"] for row in figures["incidents"]["rows"] if row["outcome"])
    return _("What came of them: %(outcomes)s.") % {"outcomes": _counted(found.most_common())} if found else ""


def _still_live(figures: Figures) -> str:
    live = figures["incidents"]["still_live"]
    return (
        ngettext("%d incident is not closed yet.", "%d incidents are not closed yet.", live) % live
        if live
        else ""
    )


def _false_alarms(figures: Figures) -> str:
    false = figures["incidents"]["false_alarms"]
    return (
        ngettext(
            "%d incident counts as a false alarm: withdrawn, not confirmed, or an error of method.",
            "%d incidents count as false alarms: withdrawn, not confirmed, or an error of method.",
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


def _sites(number: int) -> str:
    return ngettext("%d site", "%d sites", number) % number


def _codes(found: Sequence[tuple[str, str]], meaning: str) -> str:
    return ", ".join(code for code, each in found if each == meaning)


def _counted(found: Sequence[tuple[str, int]]) -> str:
    return ", ".join(f"{name} ({number})" for name, number in found)


HAPPENED: tuple[Sentence, ...] = (
    _verdicts,
    _where_below,
    _deepest,
    _untested,
    _incidents,
    _response,
    _outcomes,
    _false_alarms,
    _still_live,
)
PARTS: tuple[tuple[str | Promise, tuple[Sentence, ...]], ...] = (
    (gettext_lazy("What was done"), (_made, _not_made, _no_record, _effort, _waiting)),
    (gettext_lazy("What changed"), (_change_of_year, _trend)),
    (gettext_lazy("What happened"), HAPPENED),
)
