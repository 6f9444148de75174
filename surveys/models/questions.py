"""What a reviewer asks the recorder of a visit, and the answer."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager


class VisitQuestion(models.Model):
    """One question about a visit that waits, asked of one person; the visit goes on waiting meanwhile."""

    group_path = "visit__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    visit = models.ForeignKey("surveys.Visit", on_delete=models.CASCADE, related_name="questions")
    text = models.TextField(_("question"))
    asked_by = models.ForeignKey("accounts.User", on_delete=models.PROTECT, related_name="+")
    asked_of = models.ForeignKey("accounts.User", on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(auto_now_add=True)
    answer = models.TextField(_("answer"), blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["asked_at"]
        indexes = [models.Index(fields=["asked_of", "answered_at"], name="question_open_of")]
        constraints = [
            models.CheckConstraint(condition=~models.Q(text=""), name="question_says_something"),
            models.CheckConstraint(
                condition=models.Q(answer="", answered_at=None)
                | (~models.Q(answer="") & models.Q(answered_at__isnull=False)),
                name="question_answered_with_words",
            ),
        ]

    def __str__(self) -> str:
        return self.text

    @property
    def group_id(self) -> uuid.UUID:
        """A question belongs to the group of its visit."""
        return self.visit.group_id
