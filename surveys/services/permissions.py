"""Renewing a landowner's permission."""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from surveys.errors import NotPossible
from surveys.models import Site
from surveys.services.sites import save_site


@transaction.atomic
def renew_permission(*, person: Person, site: Site, permission_until: date) -> Site:
    """Let a site's permission last until a day to come. Raises NotPossible at `permission_until`.

    Raises Django's ValidationError where something else of the site has become wrong.
    """
    require(person, "site.edit", site)
    if permission_until <= timezone.localdate():
        raise NotPossible(_("This day is over: write until when you may go there now."), "permission_until")
    return save_site(person=person, group=site.group, site=site, fields={"permission_until": permission_until})
