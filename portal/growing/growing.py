"""Grows the portal: groups first, then the visits of all of them month by month, then the incidents."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import models, transaction

from portal.accounts.models import Group
from portal.growing import incidents, land
from portal.growing.drawing import draw_visits
from portal.growing.extent import Extent, Say
from portal.growing.incidents import write_incidents
from portal.growing.land import Land, settle
from portal.growing.resting import resting, tidy, untold
from portal.growing.visiting import LARGE, Writer

MONTHS = 12
TABLES: tuple[type[models.Model], ...] = (*land.TABLES, *LARGE, *incidents.TABLES)


class NotEmpty(Exception):
    """There are groups already, and nobody said that more may be grown beside them."""


@dataclass(frozen=True)
class Grown:
    """What has been written."""

    groups: int
    visits: int
    incidents: int


def grow(extent: Extent, *, beside_others: bool = False, say: Say = lambda _words: None) -> Grown:
    """Fill the portal, whole or not at all; raises NotEmpty where it has groups, unless told otherwise.

    The same extent, seed and day give the same rows. Nothing is sent to anybody.
    """
    # Tables must be free of work that waits for the end of a transaction before their keys can be laid aside.
    with transaction.atomic():
        if Group.objects.exists() and not beside_others:
            raise NotEmpty
        with untold(*TABLES):
            grown = _fill(extent, say)
    say("Telling the database what it holds")
    tidy(*TABLES)
    return grown


def _fill(extent: Extent, say: Say) -> Grown:
    with resting(*LARGE):
        settled = settle(extent)
        writer = Writer(settled)
        _write_visits(settled, writer, say)
        say("Making the indexes and checking the keys")
    say("Incidents")
    return Grown(extent.groups, writer.written, write_incidents(settled, writer.low))


def _write_visits(settled: Land, writer: Writer, say: Say) -> None:
    extent = settled.extent
    for number in range(extent.rounds):
        for part in extent.parts():
            writer.write(*draw_visits(settled, number, part))
        if (number + 1) % MONTHS == 0:
            say(f"{(number + 1) // MONTHS} of {extent.years} years: {writer.written:,} visits")
