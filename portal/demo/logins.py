"""Who can sign in to the demo."""

from __future__ import annotations

from django.utils.translation import gettext as _

from portal.demo.world import GROUPS, OPERATOR, PASSWORD


def login_lines() -> list[str]:
    """One line for each role, with the address to sign in by."""
    first = GROUPS[0]
    coordinator, second = first.coordinators[:2]
    volunteer = next(each for each in first.people if each not in first.coordinators)
    contact = next(each for each in first.contacts if each.has_account)
    rows = [
        (_("coordinator"), coordinator.email, first.name),
        (_("second coordinator"), second.email, first.name),
        (_("volunteer"), volunteer.email, first.name),
        (_("agency contact"), contact.email, contact.organisation),
        (_("operator"), OPERATOR.email, _("runs the portal")),
    ]
    lines = [f"  {role:<20}{email:<28}{where}" for role, email, where in rows]
    return [_("Sign in with the password %(password)s as:") % {"password": PASSWORD}, *lines]
