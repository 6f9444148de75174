"""All figures of one database, as JSON: `python -m tests.benchmarks.load.one_size PART...`."""

from __future__ import annotations

import json
import os
import sys

import django


def main(parts: list[str]) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    django.setup()
    from tests.benchmarks.load import pages

    found: dict[str, object] = {}
    with pages.both_servers() as servers:
        for name in parts:
            found[name] = getattr(pages, name)(servers)
    print(json.dumps(found))


if __name__ == "__main__":
    main(sys.argv[1:])
