"""Volunteers of the grown groups with an open session each, and what they send; prints JSON for the players."""

from __future__ import annotations

import json
import sys
from typing import Any

import django


def main(number: int) -> None:
    """Print so many players."""
    django.setup()
    from portal.accounts.models import Membership, Role
    from portal.accounts.walls import wide

    volunteers = Membership.objects.across_groups("players of all groups").filter(role=Role.VOLUNTEER)
    found = volunteers.filter(user__is_active=True).select_related("user", "group").order_by("pk")[:number]
    with wide("players of all groups"):
        print(json.dumps([player(each) for each in found]))


def player(membership: Any) -> dict[str, Any]:
    """One person: cookie, group, and a visit to each of some sites."""
    from django.test import Client

    from surveys.models import Site
    from tests.factories import data_for

    client = Client()
    client.force_login(membership.user)
    sites = list(Site.objects.of_group(membership.group).filter(closed_on=None)[:6])
    session = next(morsel.value for name, morsel in client.cookies.items() if name.endswith("sessionid"))
    return {
        "session": session,
        "person": str(membership.user.pk),
        "slug": membership.group.slug,
        "sites": [str(site.pk) for site in sites],
        "visits": [data_for(site) for site in sites],
    }


if __name__ == "__main__":
    main(int(sys.argv[1]))
