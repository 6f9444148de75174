"""Fill the portal with an invented catchment, for trying it out."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from portal.demo.logins import login_lines
from portal.demo.seeding import Extent, seed_demo


class Command(BaseCommand):
    help = (
        "Fill the portal with invented groups, sites and three years of visits; does nothing the second time."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--yes", action="store_true", help="fill this portal although DEMO is not set")
        parser.add_argument("--groups", type=int, default=3, choices=(1, 2, 3), help="how many groups")
        parser.add_argument("--months", type=int, default=36, help="how many months of visits")

    def handle(self, *_args: Any, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError("This portal is a real one (PRODUCTION is set): it gets no invented data.")
        if not (settings.DEMO or options["yes"]):
            raise CommandError("DEMO is not set. Give --yes if this portal may be filled with invented data.")
        if options["months"] < 1:
            raise CommandError("--months must be 1 or more.")
        extent = Extent(groups=options["groups"], months=options["months"])
        # The logins are the answer and go to standard output; the rest is talk.
        seed_demo(extent=extent, say=self.stderr.write)
        self.stdout.write("\n".join(login_lines()))
