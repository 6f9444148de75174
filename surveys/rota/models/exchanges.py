"""Cover and swaps: who was asked to step in, and whose place was offered for whose."""

from __future__ import annotations

import uuid
from uuid import UUID

from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known


class CoverOffer(models.Model):
    """One person asked whether they can take an open place of a planned visit."""

    group_path = "planned__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    planned = models.ForeignKey("rota.PlannedVisit", on_delete=models.CASCADE, related_name="cover_offers")
    user = models.ForeignKey("accounts.User", on_delete=models.CASCADE, related_name="+")
    # Counts how often this person was asked for this visit; each asking is an e-mail of its own.
    asked = models.PositiveSmallIntegerField(default=1)
    asked_at = models.DateTimeField(default=timezone.now)
    taken_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["asked_at"]
        constraints = [models.UniqueConstraint(fields=["planned", "user"], name="cover_offer_once_a_person")]

    def __str__(self) -> str:
        return f"cover by {self.user_id}"

    @property
    def group_id(self) -> UUID:
        return self.planned.group_id


class SwapState(models.TextChoices):
    OPEN = "open", _("waiting for an answer")
    AGREED = "agreed", _("agreed")
    REFUSED = "refused", _("refused")
    VOID = "void", _("no longer possible")


class SwapOffer(models.Model):
    """The place of one person offered for that of another. Who asks has agreed by asking."""

    State = SwapState

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    mine = models.ForeignKey("rota.Assignment", on_delete=models.CASCADE, related_name="swaps_offered")
    yours = models.ForeignKey("rota.Assignment", on_delete=models.CASCADE, related_name="swaps_wanted")
    state = models.CharField(max_length=8, choices=State, default=State.OPEN)
    asked_at = models.DateTimeField(default=timezone.now)
    answered_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["asked_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["mine", "yours"], condition=Q(state="open"), name="one_open_swap_of_two_places"
            ),
            models.CheckConstraint(condition=~Q(mine=F("yours")), name="swap_of_two_places"),
            known("swap_state_known", state=SwapState.values),
        ]

    def __str__(self) -> str:
        return f"swap {self.state}"

    @property
    def user_ids(self) -> set[UUID]:
        """The two whose places these are."""
        return {self.mine.user_id, self.yours.user_id}
