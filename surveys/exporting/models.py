"""On what terms a group gives its records to an archive."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known, or_blank


class Licence(models.TextChoices):
    """The three licences that archives of biodiversity data take."""

    CC0 = "CC0-1.0", _("CC0 1.0: anybody may use the records for anything")
    CC_BY = "CC-BY-4.0", _("CC BY 4.0: anybody may use them and must name the group")
    CC_BY_NC = "CC-BY-NC-4.0", _("CC BY-NC 4.0: only for non-commercial use, naming the group")


LICENCE_ADDRESSES = {
    Licence.CC0: "https://creativecommons.org/publicdomain/zero/1.0/legalcode",
    Licence.CC_BY: "https://creativecommons.org/licenses/by/4.0/legalcode",
    Licence.CC_BY_NC: "https://creativecommons.org/licenses/by-nc/4.0/legalcode",
}


class Blur(models.TextChoices):
    """How exactly an archive says where a site is, in degrees that places are rounded to."""

    EXACT = "", _("as exactly as the portal knows it")
    NEAR = "0.01", _("rounded to 0.01 degree, within about 1 km")
    FAR = "0.1", _("rounded to 0.1 degree, within about 10 km")


class PublishingTerms(models.Model):
    """Licence, attribution and exactness; without a licence no archive is made."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.OneToOneField("accounts.Group", on_delete=models.CASCADE, related_name="+")
    licence = models.CharField(_("licence"), max_length=20, choices=Licence, blank=True)
    attribution = models.CharField(
        _("how the group is to be named"),
        max_length=200,
        blank=True,
        help_text=_("Left empty: the group's name."),
    )
    contact_email = models.EmailField(
        _("public e-mail address for questions"),
        blank=True,
        help_text=_("It is published with the records. Use an address of the group, not somebody's own."),
    )
    blur = models.CharField(
        _("places of the sites"), max_length=5, choices=Blur, blank=True, default=Blur.EXACT
    )

    objects = GroupOwnedManager()

    class Meta:
        constraints = [
            known("publishing_licence_known", licence=or_blank(Licence.values)),
            known("publishing_blur_known", blur=Blur.values),
        ]

    def __str__(self) -> str:
        return self.licence

    @property
    def licence_address(self) -> str:
        """Where the licence can be read; empty while none is chosen."""
        return LICENCE_ADDRESSES[Licence(self.licence)] if self.licence else ""
