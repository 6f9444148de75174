"""A site's trigger: the one in force, what another level would mean, and setting a new one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.advice import words
from alerts.advice.levels import Question, SiteAdvice, advise, far_below, record_advice
from alerts.charts.control import control_views
from alerts.charts.drawn_once import drawn_once
from alerts.charts.of_site import NARROW, WIDE, Size, draw_site, site_points, site_rows
from alerts.forms import QuestionForm, TriggerForm
from alerts.judging.records import SiteRecord, site_record
from alerts.models import Trigger
from alerts.queries import triggers_of
from alerts.services.triggers import TRIGGER_INDICES, set_trigger
from alerts.views.shared import find_site, try_service
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, posted
from portal.charts import draw_spread
from scoring.advice import ASSUMES
from surveys.lists.recording import first_index
from surveys.models import Site
from surveys.texts.told import told as in_words

# The question that the page showed comes back with the form that sets the trigger.
SHOWN = "shown"
SPREAD_HEIGHT = 220


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def trigger_set(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """Show the site's history against a level, and set a new trigger."""
    group = enter(request, slug, "trigger.set")
    site = find_site(group, site_id)
    form = TriggerForm(posted(request), site=site)
    if form.is_valid() and try_service(form, lambda: _set(request, site, form)):
        messages.success(request, _("The trigger is set."))
        return redirect("site_detail", slug=slug, site_id=site.pk)
    return _show(request, site, form)


def _set(request: PortalRequest, site: Site, form: TriggerForm) -> Trigger:
    index, level = form.cleaned_data["index"], form.cleaned_data["level"]
    shown = QuestionForm(request.POST, prefix=SHOWN, site=site)
    question = shown.question() if shown.is_valid() else Question(index)
    was_on_screen = (question.index, question.level) == (index, level)
    if question.index != index:
        # Sizes of falls are in points of the other index.
        question = replace(question, falls=None)
    question = replace(question, index=index, level=level)
    record = None
    # Any other index the service refuses in words.
    if index in TRIGGER_INDICES:
        told = advise(site, question, site_record(site, index).baseline())
        record = record_advice(told, was_on_screen=was_on_screen)
    return set_trigger(person=request.person, site=site, advice=record, **form.cleaned_data)


def _show(request: PortalRequest, site: Site, form: TriggerForm) -> HttpResponse:
    triggers = list(triggers_of(site))
    now = next((each for each in reversed(triggers) if each.valid_from <= timezone.localdate()), None)
    asked = _asked(request, site)
    question = asked.question() if asked.is_bound and asked.is_valid() else _first_question(site, now)
    if not asked.is_bound:
        asked.initial = {"index": question.index, "level": question.level}
    record = site_record(site, question.index)
    baseline = record.baseline()
    told = advise(site, question, baseline)
    if not form.is_bound:
        level = f"{told.candidate.level:.10g}" if told.candidate else None
        form.initial = {"index": question.index, "level": level}
    context = {
        "site": site,
        "triggers": [(each, words.record_lines(each.advice)) for each in reversed(triggers)],
        "question_form": asked,
        "shown": _shown_fields(told),
        "form": form,
        "controls": control_views(record.sound, baseline, told.method),
        "odd_visits": far_below(baseline),
        **_history_context(record, triggers),
        **_advice_context(site, told),
    }
    return render(request, "alerts/trigger_set.html", context, status=422 if form.errors else 200)


def _asked(request: PortalRequest, site: Site) -> QuestionForm:
    """The question of the address, or after a mistake in the lower form the one that was on the screen."""
    if request.method == "POST":
        shown = QuestionForm(request.POST, prefix=SHOWN, site=site)
        return QuestionForm(_unprefixed(shown), site=site) if shown.is_valid() else QuestionForm(site=site)
    return QuestionForm(request.GET if "index" in request.GET else None, site=site)


def _unprefixed(form: QuestionForm) -> dict[str, Any]:
    return {name: form.data.get(f"{SHOWN}-{name}", "") for name in form.fields}


def _first_question(site: Site, now: Trigger | None) -> Question:
    return Question(now.index, now.level) if now else Question(first_index(site.recording_list))


def _shown_fields(told: SiteAdvice) -> list[tuple[str, str]]:
    """Name and value of the hidden fields that say what the page showed."""
    question, candidate = told.question, told.candidate
    values = {
        "index": question.index,
        "level": "" if candidate is None else repr(candidate.level),
        "wanted": "" if question.wanted is None else repr(question.wanted),
        "season": question.season,
        "falls": "; ".join(repr(fall) for fall in question.falls or ()),
    }
    return [(f"{SHOWN}-{name}", value) for name, value in values.items()]


def _history_context(record: SiteRecord, triggers: Sequence[Trigger]) -> dict[str, Any]:
    site, index = record.site, record.index
    points, lines = site_points(site, index, triggers=triggers, record=record)
    return {
        "chart_wide": draw_site(site, index, points, lines),
        "chart_narrow": draw_site(site, index, points, lines, size=NARROW),
        "chart_rows": site_rows(points, lines),
    }


def _advice_context(site: Site, told: SiteAdvice) -> dict[str, Any]:
    candidate = told.candidate
    return {
        "told": told,
        "advice": told.advice,
        "candidate": candidate,
        "alarm_words": words.alarm_words(candidate) if candidate else "",
        "catch_lines": [words.catch_words(each) for each in candidate.catches] if candidate else [],
        "suggestion_words": words.suggestion_words(told),
        "season_words": words.season_words(told.question.season),
        "level_rows": words.level_rows(told),
        "fall_sizes": _fall_sizes(told),
        "assumes": in_words(ASSUMES),
        "spread_wide": _spread(site, told, (WIDE[0], SPREAD_HEIGHT)),
        "spread_narrow": _spread(site, told, (NARROW[0], SPREAD_HEIGHT)),
    }


def _fall_sizes(told: SiteAdvice) -> Sequence[str]:
    levels = told.advice.levels if told.advice else ()
    return [f"{catch.fall:g}" for catch in levels[0].catches] if levels else []


def _spread(site: Site, told: SiteAdvice, size: Size) -> str:
    return drawn_once(
        draw_spread,
        told.values,
        title=_("%(site)s, %(index)s") % {"site": site, "index": in_words(told.method.name)},
        index_name=in_words(told.method.name),
        unit=in_words(told.method.unit),
        level=told.candidate.level if told.candidate else None,
        width=size[0],
        height=size[1],
        lang=get_language() or "en",
    )
