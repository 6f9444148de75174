"""Rules for new passwords, after NIST SP 800-63B-4 (2025), section 3.1.1.

Fifteen characters, because for most people the password is the only factor (with a second one, eight would do,
but a factor may be lost or taken off). Long ones and all characters are welcome, no kind of character is asked
for, none runs out; what is common, has leaked, or is made of the person's own or the portal's words is refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import pairwise

from django.conf import settings
from django.contrib.auth.password_validation import CommonPasswordValidator
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from portal.accounts.models import Membership, User
from portal.accounts.signing_in.breached import is_breached
from portal.accounts.walls import wide

SHORTEST = 15
# What must be left once well-known words are taken away; shorter words than this are part of too many others.
LEFT_OVER, SHORTEST_WORD = 8, 4
FEWEST_CHARACTERS = 5
PRODUCT_WORDS = ("rifflebook", "riffle", "password", "passwort", "kennwort")


class NotCommonValidator:
    """No password that many have chosen, nor one that is such a word several times over."""

    def __init__(self) -> None:
        self.common = CommonPasswordValidator().passwords

    def validate(self, password: str, user: User | None = None) -> None:  # noqa: ARG002
        typed = password.strip().lower()
        if len(set(typed)) < FEWEST_CHARACTERS or _is_a_row(typed):
            raise ValidationError(_("This password is too easy to guess: it repeats or counts on."))
        if typed in self.common or _repeated(typed) in self.common:
            raise ValidationError(_("This password is too common: it is among the first that are tried."))

    def get_help_text(self) -> str:
        return _("Not a common one, no row such as 123456.")


class OwnWordsValidator:
    """No password that is little more than one's name or address, one's group, or the portal's name."""

    def validate(self, password: str, user: User | None = None) -> None:
        rest = password.lower()
        for word in sorted(_known_words(user), key=len, reverse=True):
            rest = rest.replace(word, "")
        if len(rest) < min(LEFT_OVER, len(password)):
            raise ValidationError(
                _(
                    "This password is too similar to your name or address, your group’s name or this"
                    " portal’s. Choose words that have nothing to do with them."
                )
            )

    def get_help_text(self) -> str:
        return _("Not your name, address or group.")


class BreachedListValidator:
    """No password of the list that the operator keeps here, if there is one; nobody else is asked."""

    def validate(self, password: str, user: User | None = None) -> None:  # noqa: ARG002
        if settings.BREACHED_PASSWORDS and is_breached(password, settings.BREACHED_PASSWORDS):
            raise ValidationError(
                _("This password is in lists stolen elsewhere, which are tried first. Choose another one.")
            )

    def get_help_text(self) -> str:
        return _("Not one that was stolen elsewhere.")


def _repeated(text: str) -> str:
    """The part that the text consists of, such as "otter" for "otterotterotter"; else the text itself."""
    found = re.fullmatch(r"(.+?)\1+", text, re.DOTALL)
    return found[1] if found else text


def _is_a_row(text: str) -> bool:
    """Whether each character follows the one before, up or down: "abcdef", "987654"."""
    return len({ord(after) - ord(before) for before, after in pairwise(text)} - {-9, 9}) == 1


def _known_words(user: User | None) -> set[str]:
    texts = [*PRODUCT_WORDS]
    if user is not None:
        texts += [user.name, user.email, *_group_names(user)]
    # Whole as well: of an address, what is left of its parts would still be long.
    words = {word for text in texts for word in (text.lower(), *re.split(r"[\W_]+", text.lower()))}
    return {word for word in words if len(word) >= SHORTEST_WORD}


def _group_names(user: User) -> Iterable[str]:
    """Of groups joined; of the one somebody is just joining, where the account is not made yet."""
    if user._state.adding:
        return [user.joining]
    own = Membership.objects.across_groups("a person's own memberships").filter(user=user, left_at=None)
    with wide("somebody who sets a new password by mail is not signed in"):
        return list(own.values_list("group__name", flat=True))
