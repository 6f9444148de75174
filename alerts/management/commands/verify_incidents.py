"""Verify that the courses of incidents are as they were written."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from alerts.chain.checking import check_chain
from alerts.models import Incident
from portal.accounts.models import Group


class Command(BaseCommand):
    help = (
        "Walk the hash chain of every incident and name its first broken link; exit status 1 if any is broken."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--group", metavar="SLUG", help="Only this group's incidents.")

    def handle(self, *_args: Any, **options: Any) -> None:
        broken = total = 0
        for group in self._groups(options["group"]):
            for incident in Incident.objects.of_group(group).order_by("year", "number"):
                chain = check_chain(incident)
                total, broken = total + 1, broken + bool(chain.broken)
                self.stdout.write(f"{group.slug} {incident.reference}: {chain.words}")
        if broken:
            raise CommandError(f"{broken} of {total} incidents are broken.")
        self.stdout.write(f"{total} incidents, none broken.")

    def _groups(self, slug: str | None) -> list[Group]:
        groups = Group.objects.order_by("slug")
        if slug and not groups.filter(slug=slug).exists():
            raise CommandError(f"There is no group {slug}.")
        return list(groups.filter(slug=slug) if slug else groups)
