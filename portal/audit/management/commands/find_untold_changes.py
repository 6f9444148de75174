"""List changes that were made in the database past the portal."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from portal.audit.gaps import all_unexplained_changes
from portal.audit.models import RowChange

# Records that bear evidence or rights; other tables hold states that sweeps set without an entry of their own.
RECORDS = (
    *("surveys_visit", "surveys_taxoncount", "surveys_measurement", "surveys_spoteffort", "surveys_visitscore"),
    *("surveys_site", "surveys_finding", "alerts_trigger", "accounts_membership", "accounts_group"),
)


class Command(BaseCommand):
    help = (
        "List changes of visits, sites, triggers and memberships that no entry of the audit trail explains; "
        "exit status 1 if there are any."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--days", type=int, metavar="N", help="Only changes of the last N days.")

    def handle(self, *_args: Any, **options: Any) -> None:
        found = all_unexplained_changes().filter(table__in=RECORDS)
        if options["days"] is not None:
            found = found.filter(at__gte=timezone.now() - timedelta(days=options["days"]))
        for each in found:
            self.stdout.write(_line(each))
        if number := found.count():
            raise CommandError(f"{number} changes are unexplained.")
        self.stdout.write("Every change is explained.")


def _line(each: RowChange) -> str:
    what = ", ".join(sorted({*each.before, *each.after}))
    where = f"{each.table} {each.row}" + (f" of {each.parent}" if each.parent else "")
    return f"{each.at:%Y-%m-%d %H:%M:%S} {where} {each.operation} by {each.database_user} {what}"
