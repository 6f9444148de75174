"""Verify that the audit trail is as it was sealed."""

from __future__ import annotations

from argparse import ArgumentParser, ArgumentTypeError
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from portal.audit.sealing import Head
from portal.audit.verifying import Verified, Witness, verify_trail

FORM = "NUMBER:SEAL"


def head_of(text: str) -> Head:
    """A head as it is printed; raises ArgumentTypeError."""
    try:
        return Head.read(text)
    except ValueError as odd:
        raise ArgumentTypeError(f"{odd} It looks like {FORM}, with a seal of 64 letters.") from odd


class Command(BaseCommand):
    help = (
        "Walk the hash chain of the audit trail and of the database's own history and name the first broken "
        "link; exit status 1 if there is one."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--from", dest="start", type=head_of, metavar=FORM, help="Begin after this head, known to be good."
        )
        parser.add_argument(
            "--head",
            dest="seen",
            type=head_of,
            action="append",
            default=[],
            metavar=FORM,
            help="A head kept elsewhere (a backup, a report, a log): the chain must still hold it.",
        )

    def handle(self, *, start: Head | None, seen: list[Head], **_options: Any) -> None:
        found = verify_trail(start, [Witness("The head that you gave", each) for each in seen])
        self._tell_waiting(found)
        if found.broken:
            raise CommandError(f"{found.broken.words} ({found.links} links before it are unbroken.)")
        self._tell(found)

    def _tell_waiting(self, found: Verified) -> None:
        if found.waiting.rows:
            rows, seconds = found.waiting.rows, found.waiting.seconds
            self.stdout.write(f"{rows} of the newest rows are not sealed yet, the oldest for {seconds} s.")

    def _tell(self, found: Verified) -> None:
        if found.erased:
            self.stdout.write(f"{found.erased} rows had a name taken out; the digest of each still fits.")
        if found.start.number:
            self.stdout.write(f"Links up to {found.start.number} were taken as good.")
        self.stdout.write(f"{found.links} links, none broken; {found.witnesses} heads kept elsewhere fit.")
        self.stdout.write(f"The chain ends at {found.end}")
