"""Write the lists of texts that stand in data files, so that `makemessages` finds them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from surveys.texts.lists import LISTS, source_of


class Command(BaseCommand):
    """The first step of `make messages`."""

    help = "Write the lists of surveys/texts/ anew from the tables and the identification key."

    def handle(self, *_args: Any, **_options: Any) -> None:
        for name in LISTS:
            path = Path(settings.BASE_DIR) / "surveys" / "texts" / f"{name}.py"
            path.write_text(source_of(name), encoding="utf-8")
            self.stdout.write(str(path.relative_to(settings.BASE_DIR)))
