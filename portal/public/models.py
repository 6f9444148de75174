"""Files of open data, and catchments whose groups share their results."""

from __future__ import annotations

import secrets
import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known


class FileName(models.TextChoices):
    RESULTS = "results.csv", _("Results: one row for each visit, with its scores (CSV)")
    TAXA = "taxa.csv", _("Animals: one row for each kind found at a visit (CSV)")
    ARCHIVE = "archive.zip", _("Both, for archives of biodiversity records (Darwin Core Archive)")


class OpenDataFile(models.Model):
    """One file that everybody may fetch, made ahead: a page that is asked for makes none.

    `terms` are those that it was made on; on other terms it is given to nobody. `version` is a fingerprint of
    the records in it, and `made_at` the day these changed last.
    """

    Name = FileName

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    name = models.CharField(max_length=20, choices=Name)
    file = models.FileField(upload_to="open-data/")
    size = models.PositiveBigIntegerField(help_text="Bytes.")
    rows = models.PositiveIntegerField()
    terms = models.CharField(max_length=500)
    version = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    checked_at = models.DateTimeField(help_text="Changes up to then are in it.")

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["group", "name"], name="open_data_file_once"),
            known("open_data_file_known", name=FileName.values),
        ]

    def __str__(self) -> str:
        return self.name


def _new_word() -> str:
    return secrets.token_urlsafe(12)


class Catchment(models.Model):
    """A river system whose groups show each other the results of their sites.

    Who is given the `word` by one of its groups may join; nobody else learns that the catchment exists.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(_("name of the catchment"), max_length=120)
    word = models.CharField(max_length=40, unique=True, default=_new_word, editable=False)
    founded_by = models.ForeignKey("accounts.Group", null=True, on_delete=models.SET_NULL, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name


class CatchmentShare(models.Model):
    """A group that shares its approved results in a catchment. Leaving deletes the row; the trail keeps it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    catchment = models.ForeignKey(Catchment, on_delete=models.CASCADE, related_name="shares")
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    next_site = models.ForeignKey(
        "surveys.Site",
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        verbose_name=_("where your water goes next"),
        help_text=_("The next site of another group below your lowest one. Leave it empty if there is none."),
    )
    shared_at = models.DateTimeField(auto_now_add=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["shared_at"]
        constraints = [models.UniqueConstraint(fields=["catchment", "group"], name="group_once_in_a_catchment")]

    def __str__(self) -> str:
        return f"{self.group_id} in {self.catchment_id}"
