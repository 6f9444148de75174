"""Fills an empty portal with the invented catchment; in one already filled it does nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import uuid4

import numpy as np
import time_machine
from django.db import transaction
from django.db.models import F
from django.utils import timezone

from portal.accounts.models import Group, User
from portal.demo.aftermath import Aftermath
from portal.demo.logins import give_second_factor
from portal.demo.outings import leave_kits_and_rivers, name_kits
from portal.demo.people import welcome_people
from portal.demo.publishing import agree_on_terms, hand_out_keys, lay_out_open_data, share_the_catchment
from portal.demo.replay import Replay
from portal.demo.rota import plan_rota
from portal.demo.settling import Settlement, found_group, open_accounts
from portal.demo.sheets import leave_a_sheet
from portal.demo.sunday import leave_the_desk_full, plan_rehearsals
from portal.demo.visiting import MONTH, SiteYears
from portal.demo.world import GROUPS, OPERATOR, GroupPlan
from portal.outbox.models import Message
from portal.outbox.models import State as MessageState
from portal.reports.models import YearlyReport
from portal.reports.queries import reportable_years
from portal.reports.services import make_report, publish_report, request_report
from surveys.models import Visit
from surveys.models.visits import Status
from surveys.services.drafts import save_draft
from surveys.services.visits import return_visit

SEED = 20_817
STILL_NEWS = timedelta(days=2)
Say = Callable[[str], None]


@dataclass(frozen=True)
class Extent:
    """How much to make: the first so many groups, and monthly visits over so many months."""

    groups: int = 3
    months: int = 36

    @property
    def plans(self) -> Sequence[GroupPlan]:
        return GROUPS[: self.groups]

    @property
    def visits_before_trigger(self) -> int:
        return max(2, min(10, self.months - 1))


def is_seeded() -> bool:
    """Whether the invented groups are there already."""
    return Group.objects.filter(slug=GROUPS[0].slug).exists()


def seed_demo(
    *, extent: Extent | None = None, now: datetime | None = None, say: Say = lambda _words: None
) -> bool:
    """Make the demo's data up to `now`, whole or not at all; False when it was there already."""
    if is_seeded():
        return False
    with transaction.atomic():
        _play(extent or Extent(), now or timezone.now(), say)
    return True


def _play(extent: Extent, now: datetime, say: Say) -> None:
    rng = np.random.default_rng(SEED)
    replay = Replay(until=now)
    begun = now - extent.months * MONTH - timedelta(days=40)
    with time_machine.travel(begun, tick=True):
        settlements = _settle(extent, begun)
    with time_machine.travel(begun, tick=True):
        for settlement in settlements:
            name_kits(settlement)
        # Before anything is published, or the report would grant less than the open data.
        agree_on_terms(settlements[0])
    for settlement in settlements:
        _plan_sites(settlement, replay, rng, extent)
    _plan_report(settlements[0], replay)
    plan_rehearsals(settlements[0], replay)
    replay.run(on_month=lambda moment: say(f"  {moment:%B %Y}"))
    with time_machine.travel(now, tick=True):
        _leave_work_open(settlements[0])
        leave_kits_and_rivers(settlements[0])
        plan_rota(settlements[0])
        welcome_people(settlements[0])
        leave_a_sheet(settlements[0])
        leave_the_desk_full(settlements[0])
        share_the_catchment(settlements)
        hand_out_keys(settlements[0])
        lay_out_open_data(settlements[0])
    _forget_old_mail(now)


def _settle(extent: Extent, begun: datetime) -> list[Settlement]:
    open_accounts([OPERATOR], staff=True)
    give_second_factor(OPERATOR)
    for plan in extent.plans:
        open_accounts([*plan.people, *(each for each in plan.contacts if each.has_account)])
    operator = User.objects.get(email=OPERATOR.email)
    return [found_group(plan, operator, begun.date()) for plan in extent.plans]


def _plan_sites(settlement: Settlement, replay: Replay, rng: np.random.Generator, extent: Extent) -> None:
    for plan in settlement.plan.sites:
        site = settlement.sites[plan.code]
        aftermath = Aftermath(settlement, site, plan.reach, replay, rng, extent.visits_before_trigger)
        SiteYears(settlement, plan, replay, rng, aftermath).plan_visits(extent.months)


def _plan_report(settlement: Settlement, replay: Replay) -> None:
    """The report on last year comes out in late January, or now when that is still to come."""
    january = replay.until.replace(month=1, day=24, hour=20)
    replay.plan(min(january, replay.until), lambda: _publish_report(settlement))


def _publish_report(settlement: Settlement) -> None:
    year = timezone.localdate().year - 1
    if year not in reportable_years(settlement.group):
        return
    person = settlement.coordinators[0]
    report = request_report(
        person=person,
        group=settlement.group,
        year=year,
        foreword="Once more every riffle was visited by people who could have stayed in bed. Thank you all.",
    )
    make_report(report.pk)
    publish_report(person=person, report=YearlyReport.objects.of_group(settlement.group).get(pk=report.pk))


def _leave_work_open(settlement: Settlement) -> None:
    """What a newcomer finds to do: a visit sent back, a draft half typed, visits that wait."""
    _send_back_one(settlement)
    site = settlement.sites[settlement.plan.sites[0].code]
    data = {
        "site": str(site.pk),
        "was_made": True,
        "visited_on": timezone.localdate().isoformat(),
        "started_at": "09:40",
        "water_level": "normal",
        "notes": "Counts still to be typed from the sheet.",
        "counts": [{"taxon": "Baetidae", "count": "31"}, {"taxon": "Heptageniidae", "count": "12"}],
    }
    save_draft(person=settlement.volunteers[0], site=site, number=uuid4(), data=data)


def _send_back_one(settlement: Settlement) -> None:
    waiting = Visit.objects.of_group(settlement.group).filter(status=Status.WAITING, incidents=None)
    for visit in waiting.order_by("-visited_on"):
        checker = next(
            (each for each in settlement.coordinators if each.user_id not in visit.involved_user_ids), None
        )
        if checker:
            message = "Was the third spot really so shallow? Please look at your sheet again."
            return_visit(person=checker, visit=visit, message=message)
            return


def _forget_old_mail(now: datetime) -> None:
    """Mail of past years was delivered then: only what is still news is left for the worker to send."""
    owed = Message.objects.across_groups("the demo's own mail").filter(state=MessageState.OWED)
    owed.filter(created_at__lt=now - STILL_NEWS).update(state=MessageState.SENT, sent_at=F("created_at"))
