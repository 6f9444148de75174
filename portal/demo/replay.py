"""Plays years of work in the order of time, the clock set to each moment: every date then fits the rest."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable
from datetime import datetime

import time_machine

Deed = Callable[[], None]


class Replay:
    """Deeds planned for moments; what lies after `until` is dropped, because it has not happened yet."""

    def __init__(self, until: datetime) -> None:
        self.until = until
        self._order = itertools.count()
        self._planned: list[tuple[datetime, int, Deed]] = []

    def plan(self, moment: datetime, deed: Deed) -> None:
        """Have `deed` done at `moment`; a deed may plan others."""
        if moment <= self.until:
            heapq.heappush(self._planned, (moment, next(self._order), deed))

    def run(self, on_month: Callable[[datetime], None]) -> None:
        """Do everything in order; `on_month` hears of each month as it begins."""
        month = None
        while self._planned:
            moment, _order, deed = heapq.heappop(self._planned)
            if (moment.year, moment.month) != month:
                month = (moment.year, moment.month)
                on_month(moment)
            with time_machine.travel(moment, tick=True):
                deed()
