"""A way back in for whoever has lost their second factor and its recovery codes.

Somebody who knows them says that it is them. Then the factor goes, every session with it, and the password as
well, because a lost phone may know that too: the way back leads through the person's own mailbox.
"""

from __future__ import annotations

from allauth.mfa.models import Authenticator
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.languages import in_this_language, speaking_to
from portal.accounts.models import Membership, User
from portal.accounts.signing_in.sessions import end_sessions
from portal.audit.services import record_change
from portal.outbox.rendering import render_mail
from portal.outbox.services import owe_message


@transaction.atomic
def reset_member_factor(*, person: Person, membership: Membership, reason: str) -> None:
    """Take off what a member has lost. Raises ValidationError for those who run the portal."""
    require(person, "factor.reset", membership)
    if membership.user.is_staff:
        raise ValidationError(
            _("Only another person who runs the portal can do this for %s.") % membership.user
        )
    _reset(person, membership.user, membership, reason)


@transaction.atomic
def reset_factor_by_operator(*, operator: User, user: User, reason: str) -> None:
    """The same for anybody but oneself. Raises ValidationError for oneself, or by somebody no operator."""
    if not operator.is_staff or not operator.is_active:
        raise ValidationError(_("%s does not run this portal.") % operator)
    if operator == user:
        raise ValidationError(_("Nobody takes off their own second factor so. Ask another operator."))
    _reset(Person(user_id=operator.pk, name=operator.name, is_operator=True), user, user, reason)


def _reset(actor: Person, user: User, thing: models.Model, reason: str) -> None:
    Authenticator.objects.filter(user=user).delete()
    user.set_unusable_password()
    user.save(update_fields=["password"])
    end_sessions(user)
    record_change(actor=actor, verb="account.factor_reset", thing=thing, reason=reason)
    with speaking_to(user):
        page = in_this_language(settings.BASE_URL + reverse("account_reset_password"))
        context = {"name": user.name, "who": actor.name, "address": page}
        subject, text, html = render_mail("accounts/mail/factor_reset", context)
    owe_message(
        key=f"factor-reset:{user.pk}:{timezone.now().isoformat()}",
        kind="account",
        to_address=user.email,
        subject=subject,
        text=text,
        html=html,
    )
