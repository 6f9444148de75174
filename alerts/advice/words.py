"""Trigger advice in plain words, for the page, the list of triggers and an alert."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from alerts.advice.levels import SEASONS, SiteAdvice
from scoring.advice import Catch, Estimate, LevelAdvice
from scoring.indices.methods import METHODS
from surveys.texts.told import told

SEASON_NAMES = {
    "winter": gettext_lazy("December to February"),
    "spring": gettext_lazy("March to May"),
    "summer": gettext_lazy("June to August"),
    "autumn": gettext_lazy("September to November"),
}


def percent(chance: float) -> str:
    """A chance in percent: one decimal below 10, never 0 or 100 for what may happen or fail."""
    if 0 < chance < 0.001:
        return _kept_together(_("under 0.1 %"))
    if 0.995 < chance < 1:
        return _kept_together(_("over 99 %"))
    figure = f"{100 * chance:.0f}" if chance >= 0.0995 else f"{100 * chance:.1f}".removesuffix(".0")
    return _kept_together(f"{figure} %")


def _kept_together(words: str) -> str:
    # A line never breaks between a figure and its sign.
    return words.replace(" %", "\N{NO-BREAK SPACE}%")


def percent_between(one: Estimate) -> str:
    """The chance with its interval."""
    return _("%(value)s (%(low)s to %(high)s)") % {
        "value": percent(one.value),
        "low": percent(one.low),
        "high": percent(one.high),
    }


def rate_between(one: Estimate) -> str:
    """A number a year with its interval, two decimals."""
    return f"{one.value:.2f} ({_number(one.low)} {_('to')} {_number(one.high)})"


def _number(value: float) -> str:
    return _("under 0.01") if 0 < value < 0.005 else f"{value:.2f}"


def how_often(per_year: float) -> str:
    """A rate as people say it: so many a year, or one in so many years."""
    if per_year >= 0.95:
        return _("about %(number)s a year") % {"number": f"{per_year:.1f}".removesuffix(".0")}
    years = 1 / per_year
    if years < 1.75:
        return _("about two in three years")
    rounded = f"{years:.1f}".removesuffix(".0") if years < 3 else f"{years:.0f}"
    return _("about one every %(years)s years") % {"years": rounded}


def alarm_words(told: LevelAdvice) -> str:
    """How often an unchanged site falls below the level by chance."""
    rate, year = told.false_alarms_per_year, told.chance_in_a_year
    figures = {
        "often": how_often(rate.value),
        "low": _number(rate.low),
        "high": _number(rate.high),
        "year": percent(year.value),
        "year_low": percent(year.low),
        "year_high": percent(year.high),
    }
    words = _(
        "False alarms, at a site that has not changed: %(often)s (95 %% interval: %(low)s to %(high)s a year). "
        "The chance of at least one in a year is %(year)s (%(year_low)s to %(year_high)s)."
    )
    bound = _(
        " No baseline visit was below this level, so these figures are an upper bound: false alarms may be "
        "rarer."
    )
    return words % figures + (bound if told.is_beyond else "")


def catch_words(catch: Catch) -> str:
    """How soon a lasting fall of that size would be seen."""
    words = _(
        "A lasting fall by %(fall)s points would be caught at the next visit with a chance of %(next)s, "
        "and within two visits with a chance of %(two)s."
    )
    return words % {
        "fall": f"{catch.fall:g}",
        "next": percent_between(catch.next_visit),
        "two": percent_between(catch.within_two),
    }


def suggestion_words(told: SiteAdvice) -> str:
    """The level for the wished rate, or why none can be told; empty without a wish."""
    suggestion = told.advice.suggestion if told.advice else None
    if suggestion is None:
        return ""
    figures = {"wish": f"{suggestion.wanted_per_year:g}", "needed": suggestion.visits_needed}
    if suggestion.level is None:
        return (
            _(
                "For %(wish)s false alarms a year no level can be suggested yet: it takes %(needed)s baseline "
                "visits to tell one."
            )
            % figures
        )
    words = _("Suggested, so that false alarms stay at or below %(wish)s a year: %(level)s.")
    told_level = words % (figures | {"level": f"{suggestion.level.level:.{told.method.decimals}f}"})
    if suggestion.normal_level is None:
        return told_level
    second = _(" If the scores followed a bell curve it would be %(level)s: a second opinion, no better one.")
    return told_level + second % {"level": f"{suggestion.normal_level:.{max(1, told.method.decimals)}f}"}


def season_words(season: str) -> str:
    """The months of a season, empty for the whole year."""
    return str(SEASON_NAMES[season]) if season in SEASONS else ""


def odds_words(record: Mapping[str, Any]) -> str:
    """What was known of a trigger's level when it was set; empty where nothing was."""
    told = record.get("level")
    if not told:
        return ""
    rate, visits = Estimate(**told["false_alarms_per_year"]), record["baseline"]["n"]
    words = ngettext(
        "Odds of a false alarm at this level, from %(visits)s baseline visit: %(often)s (%(rate)s a year; "
        "95 %% interval: %(low)s to %(high)s), worked out on %(day)s.",
        "Odds of a false alarm at this level, from %(visits)s baseline visits: %(often)s (%(rate)s a year; "
        "95 %% interval: %(low)s to %(high)s), worked out on %(day)s.",
        visits,
    )
    return words % {
        "visits": visits,
        "often": how_often(rate.value) if told["below"] else _("at most ") + how_often(rate.value),
        "rate": _number(rate.value),
        "low": _number(rate.low),
        "high": _number(rate.high),
        "day": date_format(date.fromisoformat(record["taken_on"]), "j F Y"),
    }


def record_lines(record: Mapping[str, Any]) -> list[str]:
    """The advice kept with a trigger, line by line."""
    if not record:
        return []
    if not record.get("level"):
        return [_("When it was set there was no baseline visit to work out odds from.")]
    level = _level(record["level"])
    lines = [odds_words(record), *(catch_words(catch) for catch in level.catches)]
    if record["season"]:
        lines.append(
            _("Worked out for visits of %(months)s only.") % {"months": season_words(record["season"])}
        )
    if not record["was_on_screen"]:
        lines.append(_("The page showed the figures of another level; these were worked out when it was set."))
    return lines + list(map(told, record["cautions"]))


def _level(told: Mapping[str, Any]) -> LevelAdvice:
    catches = tuple(
        Catch(each["fall"], Estimate(**each["next_visit"]), Estimate(**each["within_two"]))
        for each in told["catches"]
    )
    rate, year = Estimate(**told["false_alarms_per_year"]), Estimate(**told["chance_in_a_year"])
    return LevelAdvice(told["level"], told["below"], rate, year, catches)


def level_rows(told: SiteAdvice) -> list[dict[str, Any]]:
    """Every judged level as a row of the table: figures as text, in the order of the levels."""
    if told.advice is None:
        return []
    decimals = METHODS[told.method.key].decimals
    return [
        {
            "level": f"{each.level:g}" if each == told.candidate else f"{each.level:.{decimals}f}",
            "is_candidate": told.candidate is not None and each.level == told.candidate.level,
            "below": each.below,
            "alarms": ("≤ " if each.is_beyond else "") + rate_between(each.false_alarms_per_year),
            "catches": [
                (f"{catch.fall:g}", percent_between(catch.next_visit), percent_between(catch.within_two))
                for catch in each.catches
            ],
        }
        for each in told.advice.levels
    ]
