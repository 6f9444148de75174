"""The sites up and down the river from a low visit, and how each stood when it was visited last."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from uuid import UUID

from django.db.models import OuterRef, Q, Subquery
from django.utils.translation import gettext as _

from alerts.models import Verdict
from portal.charts import state_word
from portal.charts.points import State
from scoring.indices.methods import METHODS, Method
from surveys.models import Site, Visit, VisitScore
from surveys.told import told

# Visits made soon after the low one still tell of it, later ones of another time (common practice, no source).
FOLLOW_UP = timedelta(days=14)
# A visit is called old when it lies further back than this many of the site's usual intervals (likewise).
OLD_INTERVALS = 1.5
# So many sites up each branch are looked at; further up a river mixes too much to tell.
MOST_ABOVE = 6


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
    """The group's sites about a visit, each with its latest visit until two weeks after it (two queries)."""
    sites = {each.pk: each for each in Site.objects.filter(group=visit.group_id).order_by("code")}
    latest = _latest_visits(visit, method)
    waiting = set(sites)

    def climb(site: Site, direction: str, steps: int) -> Neighbour:
        # Each site stands once, even where somebody has let the river flow in a ring.
        waiting.discard(site.pk)
        above = _above(site, [sites[key] for key in sites if key in waiting]) if steps else []
        waiting.difference_update(each.pk for each in above)
        branches = [climb(each, _("upstream"), steps - 1) for each in above]
        return _neighbour(site, direction, latest.get(site.pk), visit, method, branches)

    here = climb(sites[visit.site_id], _("this site"), MOST_ABOVE)
    below = sites.get(visit.site.downstream_id) if visit.site.downstream_id in waiting else None
    return RiverSites(
        here, _neighbour(below, _("downstream"), latest.get(below.pk), visit, method, []) if below else None
    )


def _above(site: Site, others: list[Site]) -> list[Site]:
    """The next sites up: the river's own first, then what joins it."""
    found = [each for each in others if each.downstream_id == site.pk]
    return sorted(found, key=lambda each: each.river != site.river)


def _latest_visits(low: Visit, method: Method) -> dict[UUID, Visit]:
    """By site; the low visit itself stands for its own."""
    scores = VisitScore.objects.across_groups("narrowed by the visits that fetch them")
    wanted = scores.filter(visit=OuterRef("pk"), is_current=True, index=method.key)
    made = Visit.objects.filter(group=low.group_id, was_made=True, visited_on__lte=low.visited_on + FOLLOW_UP)
    asked = made.filter(~Q(site=low.site_id) | Q(pk=low.pk)).order_by("site_id", "-visited_on", "-submitted_at")
    newest = asked.distinct("site_id").select_related("verdict__trigger")
    return {each.site_id: each for each in newest.annotate(wanted=Subquery(wanted.values("value")[:1]))}


def _neighbour(
    site: Site, direction: str, visit: Visit | None, low: Visit, method: Method, above: list[Neighbour]
) -> Neighbour:
    if visit is None:
        return Neighbour(site, direction, above=above)
    state, index, value = _stood(visit, method)
    return Neighbour(
        site=site,
        direction=direction,
        state=state,
        index=told(index.name) if value is not None else "",
        score=f"{value:.{index.decimals}f}" if value is not None else "",
        when=visit.visited_on,
        days=(visit.visited_on - low.visited_on).days,
        above=above,
    )


def _stood(visit: Visit, method: Method) -> tuple[State, Method, float | None]:
    """State, and the score that says so: each site is held against its own trigger, of whichever index."""
    verdict: Verdict | None = getattr(visit, "verdict", None)
    if verdict and verdict.trigger and verdict.outcome != Verdict.Outcome.NOT_TESTED:
        is_low = verdict.outcome == Verdict.Outcome.BELOW
        return "below" if is_low else "normal", METHODS[verdict.trigger.index], verdict.value
    value: float | None = visit.wanted  # type: ignore[attr-defined]
    return ("unscored" if value is None else "untested"), method, value
