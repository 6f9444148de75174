"""How each site stood at its latest visit, read in one question for the map, its list and the profile."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import OuterRef, Subquery
from django.db.models.functions import JSONObject
from django.utils import timezone

from alerts.models import Verdict
from alerts.river.neighbours import OLD_INTERVALS
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.charts.map import MapState
from scoring.indices import METHODS
from surveys.models import Site, Visit, VisitScore
from surveys.models.codes import by_code
from surveys.models.visits import Status
from surveys.scores.columns import headlines_of
from surveys.texts.told import told
from surveys.visits.sheets import printed

WHY = "narrowed by the sites that fetch them"


@dataclass(frozen=True)
class Result:
    """A site and its latest visit that was made: its day, its state, and the score that says so.

    `index` is a key of METHODS, empty where the visit has no score; `value` is in its unit.
    """

    site: Site
    state: MapState = "unvisited"
    when: date | None = None
    index: str = ""
    value: float | None = None
    is_old: bool = False

    @property
    def score(self) -> str:
        """The score in words: "BMWP 74", empty where there is none."""
        if self.value is None:
            return ""
        method = METHODS[self.index]
        return f"{told(method.name)} {printed(self.value, method.decimals)}"


def approved_of(groups: Sequence[Group], *, by_lists: bool = True) -> list[Result]:
    """Every site of these groups by code, with its latest approved visit (at most two queries).

    What was not tested tells the index that its recording list leads with; without `by_lists` the first there
    is, which saves the second query.
    """
    visits = Visit.objects.across_groups(WHY).filter(status=Status.APPROVED)
    sites = Site.objects.across_groups("the caller names the groups").filter(group__in=groups)
    return _results(sites.order_by(*by_code()), visits, by_lists=by_lists)


def all_of(group: Group) -> list[Result]:
    """The same with visits that wait to be checked, for members (two queries)."""
    sites = Site.objects.of_group(group).order_by(*by_code())
    return _results(sites, Visit.objects.across_groups(WHY))


def _results(
    sites: GroupOwnedQuerySet[Site], visits: GroupOwnedQuerySet[Visit], *, by_lists: bool = True
) -> list[Result]:
    newest = visits.filter(site=OuterRef("pk"), was_made=True).order_by("-visited_on", "-submitted_at")
    rows = list(sites.select_related("downstream").annotate(latest=Subquery(newest.values(json=_packed())[:1])))
    latest: dict[UUID, Mapping[str, Any]] = {row.pk: row.latest for row in rows if row.latest}
    lists = {UUID(each["list"]) for each in latest.values()}
    leading = headlines_of(lists) if lists and by_lists else dict.fromkeys(lists, tuple(METHODS))
    today = timezone.localdate()
    return [_result(row, latest.get(row.pk), leading, today) for row in rows]


def _packed() -> JSONObject:
    scores = VisitScore.objects.across_groups(WHY).filter(
        visit=OuterRef("pk"), is_current=True, value__isnull=False
    )
    return JSONObject(
        when="visited_on",
        list="recording_list_id",
        outcome="verdict__outcome",
        index="verdict__trigger__index",
        value="verdict__value",
        scores=ArraySubquery(scores.values(json=JSONObject(index="index", value="value"))),
    )


def _result(
    site: Site, visit: Mapping[str, Any] | None, leading: Mapping[UUID, Iterable[str]], today: date
) -> Result:
    if visit is None:
        return Result(site)
    when = date.fromisoformat(visit["when"])
    is_old = (today - when).days > OLD_INTERVALS * site.visit_interval_days
    if visit["index"] and visit["outcome"] in (Verdict.Outcome.BELOW, Verdict.Outcome.NOT_BELOW):
        is_low = visit["outcome"] == Verdict.Outcome.BELOW
        return Result(site, "below" if is_low else "normal", when, visit["index"], visit["value"], is_old)
    values = {each["index"]: each["value"] for each in visit["scores"]}
    index = next((each for each in leading.get(UUID(visit["list"]), ()) if each in values), "")
    return Result(site, "untested" if index else "unscored", when, index, values.get(index), is_old)
