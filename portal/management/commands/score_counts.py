"""Score a CSV of counts without the portal: `manage.py score_counts FILE --format json|csv`."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from scoring.counts_file import format_scores, read_counts
from scoring.csv_file import CsvFileError
from scoring.status import Expected


class Command(BaseCommand):
    """Print the scores of each sample. Bad input ends with exit status 2 and one line naming file and row."""

    help = (
        "Score a CSV with the header sample,taxon,count. 'unmatched' lists the recorded taxa that the BMWP "
        "table does not score, so that none is dropped unseen."
    )
    # Scores need no database, so neither checks nor migrations are waited for.
    requires_system_checks = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the file and the form of the output."""
        parser.add_argument("file", type=Path, help="CSV file, UTF-8")
        parser.add_argument("--format", choices=("json", "csv"), default="json", help="form of the output")
        parser.add_argument(
            "--expected-whpt",
            nargs=2,
            type=float,
            metavar=("ASPT", "NTAXA"),
            help="what the agency's model expects at the unspoilt site: adds the WHPT status class to the JSON",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Read, score and print."""
        try:
            expected = Expected(*options["expected_whpt"]) if options["expected_whpt"] else None
            samples = read_counts(options["file"])
        except (CsvFileError, ValueError) as error:
            raise CommandError(" ".join(str(error).split()), returncode=2) from error
        self.stdout.write(format_scores(samples, options["format"], expected), ending="")
