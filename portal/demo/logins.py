"""Who can sign in to the demo."""

from __future__ import annotations

from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from allauth.mfa.utils import decrypt
from django.utils.translation import gettext as _

from portal.accounts.models import User
from portal.demo.world import GROUPS, OPERATOR, PASSWORD, PersonPlan


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
    head = _("Sign in with the password %(password)s as:") % {"password": PASSWORD}
    return [head, *lines, *_second_factor_lines()]


def give_second_factor(plan: PersonPlan) -> None:
    """One-time codes and recovery codes, with secrets of this demo alone; whoever has some keeps them."""
    user = User.objects.get(email=plan.email)
    if Authenticator.objects.filter(user=user).exists():
        return
    TOTP.activate(user, generate_totp_secret())
    RecoveryCodes.activate(user)


def _second_factor_lines() -> list[str]:
    """How to sign in where a second factor is asked for, to see what that is like."""
    held = {each.type: each for each in Authenticator.objects.filter(user__email=OPERATOR.email)}
    if Authenticator.Type.TOTP not in held or Authenticator.Type.RECOVERY_CODES not in held:
        return []
    codes = held[Authenticator.Type.RECOVERY_CODES].wrap().get_unused_codes()
    key = decrypt(held[Authenticator.Type.TOTP].data["secret"])
    return [
        _("A second factor is optional in this demo (SECOND_FACTOR), and required of real coordinators."),
        _("The operator has one. Let an app for one-time codes read the key %(key)s,") % {"key": key},
        _("or type one of the recovery codes %(codes)s.") % {"codes": ", ".join(codes[:3])},
    ]
