"""Put a backup back into a new, empty database: `manage.py restore FILE`."""

from __future__ import annotations

import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import Error

from portal.backup.problems import BackupProblem
from portal.backup.restoring import restore_backup
from portal.backup.sealing import decrypting_key


class Command(BaseCommand):
    help = (
        "Check a backup wholly, then put it back into a new, empty database and MEDIA_ROOT, all or nothing. "
        "The secret key stands in the environment as BACKUP_KEY."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="A file that `manage.py backup` has made.")

    def handle(self, *, file: Path, **_options: Any) -> None:
        try:
            restored = restore_backup(file, decrypting_key(os.environ))
        except (BackupProblem, Error, OSError) as problem:
            raise CommandError(f"Nothing was restored. {problem}", returncode=2) from problem
        self.stdout.write(
            f"{restored.rows} rows and {restored.files} files are as they were at {restored.made_at}, "
            "compared table by table and file by file."
        )
        if restored.notes.get("trail", "0:") != "0:":
            self.stdout.write(f"Hold the audit trail against it: verify_trail --head {restored.notes['trail']}")
