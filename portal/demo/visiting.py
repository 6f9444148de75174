"""One site's years: each monthly visit submitted, checked, and its alert followed, through the services."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from django.utils import timezone

from portal.accounts.access import Person
from portal.demo import fauna, weather
from portal.demo.aftermath import Aftermath
from portal.demo.replay import Replay
from portal.demo.settling import Settlement
from portal.demo.stories import HOUR, STORIES, Story
from portal.demo.world import SitePlan
from surveys.models import Site, Visit
from surveys.services.visits import submit_visit
from surveys.submission import parse_submission

MONTH = timedelta(days=30.4)
BAD_WATER = 0.78


@dataclass
class SiteYears:
    """The visits to one site."""

    settlement: Settlement
    plan: SitePlan
    replay: Replay
    rng: np.random.Generator
    aftermath: Aftermath

    @property
    def site(self) -> Site:
        return self.settlement.sites[self.plan.code]

    def plan_visits(self, months: int) -> None:
        """Plan every monthly visit up to now; the rest follows from each."""
        stories = {
            each.months_ago: each.story for each in self.settlement.plan.episodes if each.site == self.plan.code
        }
        turn = self.settlement.plan.sites.index(self.plan)
        phase = timedelta(days=2 + 3 * turn)
        for months_ago in range(months, -1, -1):
            story = stories.get(months_ago, "")
            day = (self.replay.until - months_ago * MONTH - _phase(story, phase)).date()
            self._plan_visit(day, story, odd=months_ago == 0 and turn == 2)

    def _plan_visit(self, day: date, story: str, *, odd: bool) -> None:
        evening = timezone.make_aware(datetime.combine(day, time(18, int(self.rng.integers(60)))))
        if story == "open":
            evening = self.replay.until - 2 * HOUR
        chance = weather.Chances()
        if story or odd or self.rng.random() > chance.gap + chance.not_made:
            self.replay.plan(evening, lambda: self._submit(day, story, odd=odd))
        elif self.rng.random() > chance.gap / (chance.gap + chance.not_made):
            self.replay.plan(evening, lambda: self._not_made(day))

    def _team(self, *, joined_by_coordinator: bool = True) -> tuple[Person, Person]:
        """Two different people; now and then a coordinator goes along, who cannot check the visit then."""
        people = [*self.settlement.volunteers, *self.settlement.coordinators[: int(joined_by_coordinator)]]
        first, second = self.rng.choice(len(people), size=2, replace=False)
        return people[int(first)], people[int(second)]

    def _not_made(self, day: date) -> None:
        recorder, _partner = self._team()
        reason = weather.why_not_made(self.rng, day.month)
        data = {"was_made": False, "not_made_reason": reason}
        self._send(recorder, day, data)

    def _submit(self, day: date, story: str, *, odd: bool) -> None:
        recorder, partner = self._team(joined_by_coordinator=not story)
        told = STORIES.get(story)
        data = self._data(day, told, partner, odd=odd)
        visit = self._send(recorder, day, data, soon=bool(story))
        self.aftermath.answer(visit, story)

    def _send(self, recorder: Person, day: date, data: dict[str, Any], *, soon: bool = False) -> Visit:
        number = UUID(bytes=self.rng.bytes(16), version=4)
        whole = {"id": str(number), "site": str(self.site.pk), "visited_on": day.isoformat(), **data}
        visit = submit_visit(person=recorder, submission=parse_submission(whole)).visit
        self.aftermath.plan_check(visit, soon=soon)
        return visit

    def _data(self, day: date, told: Story | None, partner: Person, *, odd: bool) -> dict[str, Any]:
        chance = weather.Chances()
        stress = BAD_WATER if told else float(self.rng.beta(1.2, 40))
        counts = fauna.catch(self.rng, self.plan.reach, day.month, stress)
        start = 9 + int(self.rng.integers(6))
        spate = not told and weather.is_winter(day.month) and self.rng.random() < 3 * chance.spate
        kit = self.settlement.kits.get(self.plan.river)
        odd = odd or self.rng.random() < chance.odd_reading
        return {
            "partner": str(partner.user_id),
            "kit": str(kit.pk) if kit else "",
            "started_at": f"{start:02d}:{int(self.rng.integers(0, 60)):02d}",
            "ended_at": f"{start + 1:02d}:{int(self.rng.integers(0, 60)):02d}",
            "pollution_signs": told.pollution_signs if told else "",
            "spots": self._spots(off=not told and self.rng.random() < chance.off_effort),
            "counts": fauna.count_lines(counts, in_ranges=self.settlement.plan.counts_in_ranges),
            "measurements": weather.readings(self.rng, day.month, stress=stress, odd=odd),
            **weather.conditions(self.rng, day.month, spate=spate),
        }

    def _spots(self, *, off: bool) -> list[dict[str, Any]]:
        """The standard effort, or with one spot kicked too briefly."""
        flows = ("riffle", "run", "glide")
        seconds = [str(20 if off and number == 3 else 30) for number in (1, 2, 3)]
        kicks = [2 if off and number == 3 else 3 for number in (1, 2, 3)]
        depths = self.rng.integers(8, 42, size=3)
        return [
            {
                "number": n + 1,
                "flow_type": flows[n],
                "kicks": kicks[n],
                "seconds": seconds[n],
                "depth_cm": str(depths[n]),
            }
            for n in range(3)
        ]


def _phase(story: str, usual: timedelta) -> timedelta:
    """How many days before today a site's visits fall; those that are still being followed are recent."""
    return {"open": timedelta(days=1), "acknowledged": timedelta(days=5)}.get(story, usual)
