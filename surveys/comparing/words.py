"""A site's change in words that a volunteer understands, and the numbers behind them for a biologist."""

from __future__ import annotations

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from scoring.comparison import Comparison
from scoring.indices import Method
from scoring.trend import Trend
from surveys.comparing.changes import Pairing, SiteChange
from surveys.texts.told import told

SEASONS = {
    "month": gettext_lazy("months with the same months of other years"),
    "quarter": gettext_lazy("seasons with the same seasons of other years"),
    "year": gettext_lazy("yearly medians"),
}
# An index that rises with pollution reads the other way round.
MEANINGS = {
    ("better", True): gettext_lazy("Higher is better here, so by this index the water improved."),
    ("better", False): gettext_lazy("Higher is better here, so by this index the water got worse."),
    ("worse", True): gettext_lazy("Higher is worse here, so by this index the water got worse."),
    ("worse", False): gettext_lazy("Higher is worse here, so by this index the water improved."),
}
Facts = list[tuple[str, str]]


def signed(value: float, method: Method) -> str:
    """A difference with its sign, one decimal finer than the index is printed."""
    text = f"{value:+.{method.decimals + 1}f}"
    return f"{0:.{method.decimals + 1}f}" if float(text) == 0 else text.replace("-", "\N{MINUS SIGN}")


def chance_words(p: float) -> str:
    """A p-value as so many of so many cases."""
    if p < 0.001:
        return _("fewer than 1 of 1,000 cases")
    return _("about %(cases)s of 100 cases") % {"cases": f"{100 * p:.0f}" if p >= 0.01 else f"{100 * p:.1f}"}


def trend_lines(change: SiteChange) -> list[str]:
    """The trend in sentences, the answer first."""
    trend, method = change.trend, change.method
    if trend is None:
        return [_("There is no approved visit of standard effort with this score yet.")]
    if trend.slope is None or trend.p is None:
        return [_("No trend can be told yet."), told(trend.why_none)]
    lines = _trend_answer(trend, method)
    if trend.is_uncertain:
        lines.append(
            _("There are only %(values)s values: take this for a hint, not for a result.")
            % {"values": trend.values}
        )
    return lines


def _trend_answer(trend: Trend, method: Method) -> list[str]:
    figures = {
        "slope": signed(trend.slope or 0.0, method),
        "low": signed(trend.low or 0.0, method),
        "high": signed(trend.high or 0.0, method),
        "unit": told(method.unit),
        "chance": chance_words(trend.p or 0.0),
    }
    if not trend.is_clear:
        words = _(
            "No trend shows: what there is, chance alone would give in %(chance)s. The best estimate is "
            "%(slope)s %(unit)s a year, and anything from %(low)s to %(high)s fits the visits."
        )
        return [words % figures]
    rising = trend.direction == "rising"
    answer = _("Scores are rising.") if rising else _("Scores are falling.")
    words = _(
        "The change is %(slope)s %(unit)s a year (95 %% interval: %(low)s to %(high)s). Chance alone would "
        "give such a trend in %(chance)s."
    )
    return [answer, words % figures, str(MEANINGS[method.higher_is, rising])]


def trend_facts(change: SiteChange) -> Facts:
    """The numbers of the test; empty where it could not be made."""
    trend, method = change.trend, change.method
    if trend is None or trend.slope is None:
        return []
    facts = [
        (_("Compared"), str(SEASONS[change.season])),
        (_("Values (medians of their season)"), str(trend.values)),
        (_("Seasons"), str(trend.seasons)),
        (_("Pairs of years"), str(trend.pairs)),
        (_("S (rises less falls)"), f"{trend.s:+d}"),
        (_("Kendall's tau"), _decimals(trend.tau)),
        (_("z"), _decimals(trend.z)),
        (_("p, two-sided"), _decimals(trend.p, 4)),
        (_("Sen's slope a year"), signed(trend.slope, method)),
    ]
    if trend.low is not None and trend.high is not None:
        facts.append((_("its interval (95 %)"), _span(trend.low, trend.high, method)))
    return facts


def period_lines(change: SiteChange) -> list[str]:
    """Before and after the chosen day, in sentences."""
    if change.since is None:
        return []
    day = date_format(change.since, "j F Y")
    if change.periods is None:
        words = _("Visits before %(day)s: %(before)s; from that day on: %(after)s. Both are needed to compare.")
        return [words % {"day": day, "before": change.before, "after": change.after}]
    subject = _("Visits from %(day)s on") % {"day": day}
    return comparison_lines(subject, _("those before it"), change.periods, change.method)


def pairing_lines(pairing: Pairing, method: Method) -> list[str]:
    """Downstream against upstream, in sentences."""
    if pairing.comparison is None:
        return [_("There are no approved visits of standard effort at both sites within 7 days of each other.")]
    names = {"second": str(pairing.second), "first": str(pairing.first)}
    lines = comparison_lines(names["second"], names["first"], pairing.comparison, method)
    if pairing.impact:
        lines += _impact_lines(pairing.impact, method)
    return lines


def _impact_lines(impact: Comparison, method: Method) -> list[str]:
    subject = _("Since the day you chose, the lower site set against the upper one")
    return comparison_lines(subject, _("before that day"), impact, method)


def comparison_lines(subject: str, other: str, found: Comparison, method: Method) -> list[str]:
    """One set of visits (`subject`) against another (`other`), with the limits of the difference."""
    figures = {
        "subject": subject,
        "other": other,
        "difference": signed(found.difference, method),
        "unit": told(method.unit),
    }
    if found.low is None or found.high is None:
        words = _(
            "%(subject)s differs from %(other)s by %(difference)s %(unit)s, but too few visits say so for "
            "an interval: nothing can be concluded."
        )
        return [words % figures]
    figures |= {"low": signed(found.low, method), "high": signed(found.high, method)}
    if not found.is_clear:
        words = _(
            "%(subject)s: no difference to %(other)s shows. The best estimate is %(difference)s %(unit)s, and "
            "anything from %(low)s to %(high)s fits the visits."
        )
        return [words % figures]
    higher = found.direction == "higher"
    words = (
        _("%(subject)s: higher than %(other)s, by %(difference)s %(unit)s (interval: %(low)s to %(high)s).")
        if higher
        else _("%(subject)s: lower than %(other)s, by %(difference)s %(unit)s (interval: %(low)s to %(high)s).")
    )
    return [words % figures]


def comparison_facts(found: Comparison | None, method: Method) -> Facts:
    """The numbers of a comparison."""
    if found is None:
        return []
    facts = [
        (_("Visits"), f"{found.first}; {found.second}"),
        (_("Hodges-Lehmann difference"), signed(found.difference, method)),
    ]
    if found.low is not None and found.high is not None and found.confidence is not None:
        label = _("its interval, with a confidence of %(percent)s %%") % {
            "percent": f"{100 * found.confidence:.1f}"
        }
        facts.append((label, _span(found.low, found.high, method)))
    return facts


def _span(low: float, high: float, method: Method) -> str:
    return _("%(low)s to %(high)s") % {"low": signed(low, method), "high": signed(high, method)}


def _decimals(value: float | None, places: int = 3) -> str:
    return "–" if value is None else f"{value:.{places}f}".replace("-", "\N{MINUS SIGN}")
