"""Score visits anew whose scores were made by another version of a method."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from portal.accounts.models import Group
from portal.jobs.models import Job
from portal.jobs.working import work_off
from surveys.services.rescoring import request_rescoring


class Command(BaseCommand):
    help = "Score visits anew whose scores were made by another version of a method. Sends no alert."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--group", metavar="SLUG", help="Only this group's visits.")
        parser.add_argument("--reason", default="A method has a new version.", help="Kept with the run.")

    def handle(self, *_args: Any, **options: Any) -> None:
        groups = Group.objects.order_by("slug")
        if options["group"]:
            groups = groups.filter(slug=options["group"])
            if not groups.exists():
                raise CommandError(f"There is no group {options['group']}.")
        for group in groups:
            self.stdout.write(f"{group.slug}: {self._rescore(group, options['reason'])}")

    def _rescore(self, group: Group, reason: str) -> str:
        job = request_rescoring(person=None, group=group, reason=reason)
        work_off(job.pk)
        job = Job.objects.of_group(group).get(pk=job.pk)
        return f"{job.done} of {job.total} visits scored anew, {job.get_state_display()}"
