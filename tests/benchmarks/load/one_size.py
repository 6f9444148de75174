"""All figures of one database, as JSON: `python -m tests.benchmarks.load.one_size PART...`."""

from __future__ import annotations

import json
import os
import sys

import django


def main(parts: list[str]) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    django.setup()
    from portal.accounts.walls import wide
    from tests.benchmarks.load import pages, writing

    found: dict[str, object] = {}
    with wide("a benchmark is the operator's own work"):
        with pages.both_servers() as servers:
            for name in parts:
                if hasattr(pages, name):
                    found[name] = getattr(pages, name)(servers)
        for name in parts:
            if hasattr(writing, name):
                found[name] = getattr(writing, name)()
    print(json.dumps(found))


if __name__ == "__main__":
    main(sys.argv[1:])
