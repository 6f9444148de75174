"""Save database and files in one encrypted file: `manage.py backup FILE`."""

from __future__ import annotations

import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, Error
from django.utils.translation import gettext as _

from portal.audit.sealing import Head, head, seal_waiting
from portal.audit.services import record_event
from portal.backup.making import make_backup, require_place
from portal.backup.problems import BackupProblem
from portal.backup.sealing import encrypting_key, new_key


class Command(BaseCommand):
    help = (
        "Save the database and the files that it names, as of one moment, in one encrypted file. "
        "The key, or only its public half, stands in the environment as BACKUP_KEY."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("file", nargs="?", type=Path, help="Where to; never replaces a file.")
        what.add_argument("--new-key", action="store_true", help="Only print a new pair of keys.")

    def handle(self, *, file: Path | None, **_options: Any) -> None:
        if file is None:
            self._print_key()
            return
        try:
            key = encrypting_key(os.environ)
            # Before the trail says that everything was taken.
            require_place(file)
            end = self._recorded(file)
            made = make_backup(file, key, {"trail": str(end)})
        except (BackupProblem, Error, OSError) as problem:
            raise CommandError(f"No backup was made. {problem}", returncode=2) from problem
        for name in made.missing:
            self.stderr.write(f"A row names {name}, but there is no such file.")
        self.stdout.write(f"{made.rows} rows and {made.files} files, {made.size / 1e6:.1f} MB in {file}.")
        self.stdout.write(f"The audit trail in it ends at {end}")

    def _print_key(self) -> None:
        public, secret = new_key()
        self.stdout.write(
            f"BACKUP_KEY={public}\n    for backups: it stays on the server and can only encrypt.\n"
            f"BACKUP_KEY={secret}\n    for restoring: keep this half away from the server, in two places. "
            "Without it no backup can ever be read."
        )

    def _recorded(self, file: Path) -> Head:
        """Write who takes everything, and seal it: the trail in the backup tells of the backup.

        A database that takes no more rows can still be saved.
        """
        about = ("portal.backup", uuid4())
        named = {"file": [None, file.name]}
        try:
            record_event(
                verb="backup.ordered", about=about, actor_name=_("the portal's operator"), changes=named
            )
            return seal_waiting()
        except DatabaseError:
            self.stderr.write("The backup could not be written to the audit trail.")
            return head()
