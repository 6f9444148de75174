"""Reading repeat visits: what is wanted, and why nobody is asked to go just now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Count, Q, QuerySet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from alerts.judging.records import SiteRecord
from alerts.models import Incident, RepeatRequest, Verdict
from alerts.models.repeats import RepeatState as State
from alerts.repeats.words import repeat_words
from portal.accounts.access import Person, allowed
from portal.accounts.models import Group
from portal.accounts.prepared import planned
from surveys.models import Site, Visit
from surveys.outings.rivers import river_at, with_high_until

LIVE = (State.OPEN, State.TAKEN)


@dataclass(frozen=True)
class RepeatShown:
    """The latest repeat visit of an incident as one reader sees it; `request` is None where none was asked for.

    `verdict` is that on the visit made; `why_not` says why nobody is asked to go now.
    """

    request: RepeatRequest | None
    words: list[str]
    offered: int
    why_not: str
    verdict: Verdict | None
    can_take: bool
    can_give_back: bool
    can_ask: bool

    @property
    def confirms(self) -> bool:
        return self.verdict is not None and self.verdict.outcome == Verdict.Outcome.BELOW

    @property
    def speaks_against(self) -> bool:
        """Whether the repeat, as it is judged now, was not low."""
        return self.verdict is not None and self.verdict.outcome == Verdict.Outcome.NOT_BELOW


def why_not_offered(site: Site) -> str:
    """Why nobody is asked to go to a site now; empty where nothing speaks against it."""
    return _while_shut(site) or _while_high(river_at(site).high_until)


def _why_not(incident: Incident) -> str:
    """The same; a page that has read the incident `with_high_until` needs no query."""
    if not hasattr(incident, "high_until"):
        return why_not_offered(incident.site)
    return _while_shut(incident.site) or _while_high(incident.high_until)


def _while_high(until: datetime | None) -> str:
    if until is None:
        return ""
    words = _("The river is above this site's limit, so nobody is asked to go there before %(time)s.")
    return words % {"time": date_format(timezone.localtime(until), "j F, H:i")}


def _while_shut(site: Site) -> str:
    today = timezone.localdate()
    if site.closed_on and site.closed_on <= today:
        return _("The site is closed, so nobody is asked to go there.")
    if site.permission_lapsed(today):
        return _("The landowner's permission has run out, so nobody is asked to go there.")
    return ""


def live_repeat(incident: Incident) -> RepeatRequest | None:
    """The repeat visit that is wanted or taken on."""
    return RepeatRequest.objects.filter(group=incident.group_id, incident=incident, state__in=LIVE).first()


def latest_repeat(incident: Incident) -> RepeatRequest | None:
    """The repeat visit asked for last, whatever became of it."""
    found = RepeatRequest.objects.filter(group=incident.group_id, incident=incident)
    counted = found.annotate(offered=Count("offers"))
    return counted.select_related("taken_by", "visit__verdict").first()


def repeat_shown(
    incident: Incident, person: Person | None, low: Visit | None, record: SiteRecord | None = None
) -> RepeatShown:
    """What the page shows of the repeat visit; `low` is the visit to repeat, None where none is left.

    `record` is the site's by the index of that visit's trigger, where the page has read it already.
    """
    request = latest_repeat(incident)
    live = request is not None and request.state in LIVE
    # A visit's verdict is written with it.
    made = request.visit.verdict if request and request.visit else None
    why_not = _why_not(incident) if incident.is_live else ""
    may = person is not None and incident.is_live and allowed(person, "visit.submit", incident)
    is_taken = request is not None and request.state == State.TAKEN
    return RepeatShown(
        request=request,
        words=repeat_words(low, low.verdict, record) if low is not None and incident.is_live else [],
        offered=getattr(request, "offered", 0),
        why_not=why_not,
        verdict=made,
        can_take=may and live and not is_taken and not why_not,
        can_give_back=may and is_taken and _may_give_back(person, request),
        can_ask=incident.is_live
        and not live
        and person is not None
        and allowed(person, "repeat.ask", incident),
    )


def open_repeats(person: Person, group: Group) -> list[RepeatRequest]:
    """Repeat visits that the person has taken on or may take on now, the most pressing first (one query).

    One that was offered to them and that somebody else has taken, or that nobody should go to now, is left out.
    """
    found: list[Any] = _open_to(group, person.user_id, timezone.now())
    own = [each for each in found if each.taken_by_id == person.user_id]
    free = [each for each in found if each not in own]
    may_go = [each for each in free if not (_while_shut(each.incident.site) or _while_high(each.high_until))]
    return [*own, *(may_go if allowed(person, "visit.submit", group) else [])]


@planned
def _open_to(group: Group, user_id: UUID | None, now: datetime) -> QuerySet[RepeatRequest]:
    live = RepeatRequest.objects.of_group(group).filter(state__in=LIVE).select_related("incident__site__group")
    mine, is_free = Q(taken_by=user_id), Q(state=State.OPEN, offers__user=user_id)
    rows: Any = with_high_until(live.filter(mine | is_free), now, site="incident__site")
    return rows.distinct().order_by("due_on")  # type: ignore[no-any-return]


def _may_give_back(person: Person | None, request: RepeatRequest | None) -> bool:
    if person is None or request is None:
        return False
    return person.user_id == request.taken_by_id or person.is_coordinator(request.group_id)
