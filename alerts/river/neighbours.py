"""The sites up and down the river from a low visit, and how each stood when it was visited last."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.db.models import F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import JSONObject
from django.utils.translation import gettext as _

from alerts.models import Verdict
from portal.charts import state_word
from portal.charts.points import State
from scoring.indices.methods import METHODS, Method
from surveys.models import Site, Visit, VisitScore
from surveys.models.codes import by_code
from surveys.texts.told import told

# Visits made soon after the low one still tell of it, later ones of another time (common practice, no source).
FOLLOW_UP = timedelta(days=14)
# A visit is called old when it lies further back than this many of the site's usual intervals (likewise).
OLD_INTERVALS = 1.5
# So many sites up each branch are looked at; further up a river mixes too much to tell.
MOST_ABOVE = 6
Latest = dict[str, Any]


@dataclass(frozen=True)
class Neighbour:
    """A site and how it stood at its latest visit, with the next sites above it.

    `direction` is in words; `days` counts from the low visit, less than nought for a visit before it; `index`
    and `score` are text, empty where the visit has none.
    """

    site: Site
    direction: str
    state: State = "unscored"
    index: str = ""
    score: str = ""
    when: date | None = None
    days: int = 0
    above: list[Neighbour] = field(default_factory=list)

    @property
    def is_old(self) -> bool:
        """Whether so much time lay between this visit and the low one that the water may have changed."""
        return -self.days > OLD_INTERVALS * self.site.visit_interval_days

    @property
    def is_normal(self) -> bool:
        return self.state == "normal"

    @property
    def is_low(self) -> bool:
        """Whether it was low about the same time; an old low visit tells of something else."""
        return self.state == "below" and not self.is_old

    @property
    def state_words(self) -> str:
        """Normal, low, not tested or without a score; and old, where it is."""
        if self.when is None:
            return _("no visit yet")
        word = state_word(self.state)
        return _("%(state)s, but old") % {"state": word} if self.is_old else word


@dataclass(frozen=True)
class RiverSites:
    """The site of the low visit with all that lies above it, and the next site below."""

    here: Neighbour
    below: Neighbour | None


def river_sites(visit: Visit, method: Method) -> RiverSites:
    """The group's sites about a visit, each with its latest visit until two weeks after it (one query)."""
    sites = {each.pk: each for each in _with_latest(visit, method)}
    waiting = set(sites)

    def climb(site: Site, direction: str, steps: int) -> Neighbour:
        # Each site stands once, even where somebody has let the river flow in a ring.
        waiting.discard(site.pk)
        above = _above(site, [sites[key] for key in sites if key in waiting]) if steps else []
        waiting.difference_update(each.pk for each in above)
        branches = [climb(each, _("upstream"), steps - 1) for each in above]
        return _neighbour(site, direction, visit, method, branches)

    here = climb(sites[visit.site_id], _("this site"), MOST_ABOVE)
    below = sites.get(visit.site.downstream_id) if visit.site.downstream_id in waiting else None
    return RiverSites(here, _neighbour(below, _("downstream"), visit, method, []) if below else None)


def _above(site: Site, others: list[Site]) -> list[Site]:
    """The next sites up: the river's own first, then what joins it."""
    found = [each for each in others if each.downstream_id == site.pk]
    return sorted(found, key=lambda each: each.river != site.river)


def _with_latest(low: Visit, method: Method) -> QuerySet[Site]:
    """The group's sites, each with its latest visit packed beside it; the low visit stands for its own."""
    scores = VisitScore.objects.across_groups("narrowed by the visits that fetch them")
    wanted = scores.filter(visit=OuterRef("pk"), is_current=True, index=method.key)
    made = Visit.objects.filter(site=OuterRef("pk"), was_made=True, visited_on__lte=low.visited_on + FOLLOW_UP)
    asked = made.filter(~Q(site=low.site_id) | Q(pk=low.pk)).order_by("-visited_on", "-submitted_at")
    packed = JSONObject(
        when=F("visited_on"),
        wanted=Subquery(wanted.values("value")[:1]),
        outcome=F("verdict__outcome"),
        index=F("verdict__trigger__index"),
        value=F("verdict__value"),
    )
    latest = Subquery(asked.annotate(packed=packed).values("packed")[:1])
    return Site.objects.filter(group=low.group_id).annotate(latest=latest).order_by(*by_code())


def _neighbour(site: Site, direction: str, low: Visit, method: Method, above: list[Neighbour]) -> Neighbour:
    latest: Latest | None = site.latest  # type: ignore[attr-defined]
    if latest is None:
        return Neighbour(site, direction, above=above)
    state, index, value = _stood(latest, method)
    when = date.fromisoformat(latest["when"])
    return Neighbour(
        site=site,
        direction=direction,
        state=state,
        index=told(index.name) if value is not None else "",
        score=f"{value:.{index.decimals}f}" if value is not None else "",
        when=when,
        days=(when - low.visited_on).days,
        above=above,
    )


def _stood(latest: Latest, method: Method) -> tuple[State, Method, float | None]:
    """State, and the score that says so: each site is held against its own trigger, of whichever index."""
    if latest["index"] and latest["outcome"] != Verdict.Outcome.NOT_TESTED:
        is_low = latest["outcome"] == Verdict.Outcome.BELOW
        return "below" if is_low else "normal", METHODS[latest["index"]], latest["value"]
    value: float | None = latest["wanted"]
    return ("unscored" if value is None else "untested"), method, value
