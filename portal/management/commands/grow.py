"""Fill the database with a large invented portal, to measure on."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from portal.accounts.models import Group
from portal.growing.extent import Extent
from portal.growing.growing import NotEmpty, grow


class Command(BaseCommand):
    help = "Fill an empty database with invented groups and years of their visits, by COPY, to measure on."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--groups", type=int, default=10)
        parser.add_argument("--sites", type=int, default=12, help="sites of each group")
        parser.add_argument("--years", type=int, default=10, help="years of monthly visits")
        parser.add_argument("--seed", type=int, default=1, help="the same seed and day give the same rows")
        parser.add_argument(
            "--beside-others",
            action="store_true",
            help="grow although there are groups; their tables are locked meanwhile",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError("This portal is a real one (PRODUCTION is set): it gets no invented data.")
        if min(options["groups"], options["sites"], options["years"]) < 1:
            raise CommandError("--groups, --sites and --years must be 1 or more.")
        first = Group.objects.count() + 1
        sizes = {name: options[name] for name in ("groups", "sites", "years", "seed")}
        extent = Extent(**sizes, until=timezone.localdate(), first=first)
        begun = time.perf_counter()
        try:
            grown = grow(extent, beside_others=options["beside_others"], say=self.stderr.write)
        except NotEmpty:
            message = "This portal has groups already. Give --beside-others to grow more beside them."
            raise CommandError(message) from None
        took = time.perf_counter() - begun
        self.stdout.write(
            f"{grown.groups:,} groups, {grown.visits:,} visits, {grown.incidents:,} incidents in {took:,.0f} s"
        )
