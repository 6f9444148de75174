"""Recording lists: which taxa a site's volunteers look for. A list is versioned; old visits keep theirs."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from portal.choices import known
from surveys.texts.told import told


class ListLevel(models.TextChoices):
    FAMILY = "family", _("families")
    GROUP = "group", _("broad groups")


class RecordingList(models.Model):
    """One version of a list. Lists without a group are built in and shared by all."""

    Level = ListLevel

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey(
        "accounts.Group", null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    slug = models.SlugField(max_length=60)
    name = models.CharField(_("name"), max_length=120)
    version = models.PositiveSmallIntegerField(default=1)
    level = models.CharField(max_length=10, choices=Level)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["group", "slug", "version"], nulls_distinct=False, name="one_list_version"
            ),
            known("list_level_known", level=ListLevel.values),
        ]

    def __str__(self) -> str:
        return self.name


class ListTaxon(models.Model):
    """A line of a recording list; `taxon` is the name that scoring knows it by."""

    recording_list = models.ForeignKey(RecordingList, on_delete=models.CASCADE, related_name="taxa")
    position = models.PositiveSmallIntegerField()
    taxon = models.CharField(max_length=80)
    label = models.CharField(max_length=120, blank=True)
    section = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["recording_list", "taxon"], name="taxon_once_on_a_list")]

    def __str__(self) -> str:
        return self.label or self.taxon

    @property
    def words(self) -> str:
        """The label in the reader's language where it is a common name, else as the group wrote it."""
        return told(self.label)
