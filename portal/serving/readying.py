"""What a web process needs sooner or later is made before the first request, once for all processes.

Otherwise each makes it while somebody waits, and the garbage collector looks through all of it time and again:
one look took a quarter of a second, in which none of the process's threads goes on.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.template import engines
from django.urls import get_resolver
from django.utils.translation import gettext, override

from surveys.offline.release import release


def make_ready() -> None:
    """Read addresses, catalogues and templates, then take all there is out of the collector's sight.

    Asks neither the database nor the broker, whose connections processes yet to be made must not share.
    Raises TemplateSyntaxError for a template that cannot be read.
    """
    for name in template_names():
        engines["django"].get_template(name)
    for code, _name in settings.LANGUAGES:
        with override(code):
            _read_addresses()
    make_ready_to_draw()


def make_ready_to_draw() -> None:
    """What a worker needs for the first picture of an alert: its words, and which release draws it."""
    for code, _name in settings.LANGUAGES:
        with override(code):
            gettext("Save")
    release()
    gc.collect()
    gc.freeze()


def template_names() -> Iterator[str]:
    """The portal's own pages and mails, as they are asked for."""
    folders: Any = settings.TEMPLATES[0].get("DIRS", ())
    for folder in folders:
        for ending in ("html", "txt"):
            for path in Path(folder).rglob(f"*.{ending}"):
                yield path.relative_to(folder).as_posix()


def _read_addresses() -> int:
    """In the language that is spoken; Django keeps them for each. Returns how many there are."""
    return len(get_resolver().reverse_dict)
