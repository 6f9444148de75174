"""People, the groups they belong to, and invitations to join."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known

INVITATION_DAYS = 14


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> User:
        return self.create_user(email, password, is_staff=True, is_superuser=True, **fields)


class User(AbstractBaseUser, PermissionsMixin):
    """A person with an account, signed in by e-mail address."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField(_("e-mail address"), max_length=254, unique=True)
    name = models.CharField(_("name"), max_length=120)
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    language = models.CharField(
        _("language"), max_length=10, blank=True, help_text="Blank: as the browser asks."
    )
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(_("runs this portal"), default=False)
    date_joined = models.DateTimeField(default=timezone.now)

    # Of somebody who is just taking up an invitation: the group's name, which is no good password.
    joining = ""

    objects = UserManager()
    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        constraints = [models.UniqueConstraint(Lower("email"), name="one_account_per_address")]

    def __str__(self) -> str:
        return self.name or self.email


class Group(models.Model):
    """A volunteer group: the owner of sites, visits and people's roles."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    slug = models.SlugField(_("short name in addresses"), max_length=60, unique=True)
    name = models.CharField(_("name"), max_length=120)
    about = models.TextField(_("about the group"), blank=True)
    language = models.CharField(
        _("language"), max_length=10, blank=True, help_text="Blank: the portal's first language."
    )
    is_public = models.BooleanField(_("approved results are public"), default=False)
    hold_hours = models.PositiveSmallIntegerField(
        _("hours an alert waits for approval before it is sent anyway"),
        default=0,
        help_text=_("0 sends at once, marked as not yet checked."),
    )
    acknowledge_hours = models.PositiveSmallIntegerField(
        _("hours a contact has to acknowledge before the next one is told"), default=4
    )
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name

    @property
    def group_id(self) -> uuid.UUID:
        """A group belongs to itself, so that access rules treat it like everything it owns."""
        return self.id


class Role(models.TextChoices):
    VOLUNTEER = "volunteer", _("Volunteer")
    COORDINATOR = "coordinator", _("Coordinator")
    # A guest, mostly from another group: checks visits, and sees no more than that needs.
    REVIEWER = "reviewer", _("Guest reviewer")


class Membership(models.Model):
    """A person's role in one group, kept after they leave."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey(Group, on_delete=models.CASCADE, related_name="memberships")
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=12, choices=Role)
    show_name = models.BooleanField(_("may be named in the yearly report"), default=False)
    joined_at = models.DateTimeField(default=timezone.now)
    left_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["group", "user"], name="one_membership_per_person_and_group"),
            known("membership_role_known", role=Role.values),
        ]

    def __str__(self) -> str:
        return f"{self.user_id} {self.role}"


def _invitation_end() -> Any:
    return timezone.now() + timedelta(days=INVITATION_DAYS)


class Invitation(models.Model):
    """An offer, sent by e-mail, to join a group in a role."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey(Group, on_delete=models.CASCADE, related_name="invitations")
    email = models.EmailField(_("e-mail address"))
    role = models.CharField(_("role"), max_length=12, choices=Role, default=Role.VOLUNTEER)
    invited_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField(default=_invitation_end)
    accepted_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    accepted_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        constraints = [known("invitation_role_known", role=Role.values)]

    def __str__(self) -> str:
        return self.email

    @property
    def is_open(self) -> bool:
        """Whether the link still works."""
        return not (self.accepted_at or self.revoked_at) and self.expires_at > timezone.now()


class AddressChange(models.Model):
    """A further address of an account that waits for the word of the present one."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    address = models.OneToOneField("account.EmailAddress", on_delete=models.CASCADE, related_name="+")
    present = models.EmailField(help_text="The account's address that was asked.")
    asked_at = models.DateTimeField(default=timezone.now)
    agreed_at = models.DateTimeField(null=True, blank=True)
    confirmed_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return str(self.pk)
