"""Calendars by a secret address. The address is signed, not stored: a copy of the tables opens none."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils import timezone

from portal.accounts.scoping import GroupOwnedManager


class CalendarFeed(models.Model):
    """The calendar of one person over all their groups, or of one group. A new address is a new row."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", null=True, on_delete=models.CASCADE, related_name="+")
    user = models.ForeignKey("accounts.User", null=True, on_delete=models.CASCADE, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(group__isnull=True, user__isnull=False) | Q(group__isnull=False, user__isnull=True),
                name="feed_of_a_person_or_a_group",
            ),
            models.UniqueConstraint(
                fields=["group"], condition=Q(revoked_at__isnull=True), name="one_feed_a_group"
            ),
            models.UniqueConstraint(
                fields=["user"], condition=Q(revoked_at__isnull=True), name="one_feed_a_person"
            ),
        ]

    def __str__(self) -> str:
        return f"calendar of {'a group' if self.group_id else 'a person'}"
