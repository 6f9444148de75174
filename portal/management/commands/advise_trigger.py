"""Advice on a trigger level from a CSV of scores: `manage.py advise_trigger FILE --index bmwp ...`."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from scoring.advice import AdviceError, advise_trigger
from scoring.csv_file import CsvFileError
from scoring.indices import METHODS
from scoring.scores_file import format_advice, read_scores


class Command(BaseCommand):
    """Print the advice. Bad input ends with exit status 2 and one line naming file and row."""

    help = (
        "Say what trigger levels would do, from a CSV with the header date,score of a site's baseline visits."
    )
    # Advice needs no database, so neither checks nor migrations are waited for.
    requires_system_checks = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the file, the question and the form of the output."""
        parser.add_argument("file", type=Path, help="CSV file, UTF-8, dates such as 2026-05-03")
        parser.add_argument("--index", required=True, choices=tuple(METHODS), help="index of the scores")
        parser.add_argument("--visits-per-year", type=float, required=True, help="visits to the site in a year")
        parser.add_argument("--false-alarms-per-year", type=float, help="suggest a level for this rate")
        parser.add_argument("--level", type=float, help="judge this level")
        parser.add_argument(
            "--fall", type=float, action="append", dest="falls", help="fall in points; repeatable"
        )
        parser.add_argument(
            "--month", type=int, action="append", dest="season", help="only this month; repeatable"
        )
        parser.add_argument("--seed", type=int, default=1, help="seed of the intervals")
        parser.add_argument("--format", choices=("json", "text"), default="text", help="form of the output")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Read, advise and print."""
        asked = ("index", "visits_per_year", "false_alarms_per_year", "level", "falls", "season", "seed")
        try:
            scores = read_scores(options["file"])
            advice = advise_trigger(scores, **{name: options[name] for name in asked})
        except CsvFileError as error:
            raise CommandError(" ".join(str(error).split()), returncode=2) from error
        except AdviceError as error:
            raise CommandError(f"{' '.join(str(options['file']).split())}: {error}", returncode=2) from error
        self.stdout.write(format_advice(advice, options["format"]), ending="")
