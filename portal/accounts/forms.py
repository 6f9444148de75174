"""Forms about people and groups."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.models import Group, Invitation, Role, User

PASSWORD_HELP = _("At least 15 characters. Four or five unrelated words work well; you may paste it.")


def language_choices(unsaid: str | Promise) -> list[tuple[str, str | Promise]]:
    """The portal's languages by their own names, and what stands for no choice."""
    return [("", unsaid), *settings.LANGUAGES]


class TelephoneField(forms.CharField):
    """A number to ring; words may stand beside it, such as "evenings"."""

    widget = forms.TextInput(attrs={"type": "tel", "autocomplete": "off"})

    def validate(self, value: str) -> None:
        """Raise ValidationError for what nobody could ring: fewer digits than the shortest numbers have."""
        super().validate(value)
        if value and sum(map(str.isdigit, value)) < 3:
            raise forms.ValidationError(_("Write the number in figures, such as 01632 960123."))


class LanguageForm(forms.Form):
    """In which language the portal speaks to one person."""

    language = forms.ChoiceField(
        label=_("Language of pages and e-mails"),
        choices=lambda: language_choices(_("as my browser asks")),
        required=False,
        widget=forms.RadioSelect,
    )


class OwnTelephoneForm(forms.Form):
    """Where somebody can be rung."""

    phone = TelephoneField(
        label=_("Telephone"),
        max_length=40,
        required=False,
        help_text=_("Left empty: none is kept."),
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "tel"}),
    )


class InvitationForm(forms.ModelForm[Invitation]):
    """Whom to invite, and as what."""

    class Meta:
        model = Invitation
        fields = ["email", "role"]
        # Somebody else's: a browser would offer one's own.
        widgets = {"email": forms.EmailInput(attrs={"autocomplete": "off"})}
        error_messages = {
            "email": {"invalid": _("This is not an e-mail address. Look for a missing @ or dot.")}
        }


class NewAccountForm(forms.Form):
    """Name and password of somebody who was invited."""

    name = forms.CharField(
        label=_("Your name"),
        max_length=120,
        help_text=_("As the other members know you."),
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    password = forms.CharField(
        label=_("Choose a password"),
        strip=False,
        help_text=PASSWORD_HELP,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    show_name = forms.BooleanField(
        label=_("My name may stand in the yearly report and in published files"),
        required=False,
        help_text=_("You can change this at any time. Until you are 18 your name is printed nowhere."),
    )

    def __init__(self, *args: Any, email: str, group_name: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.email, self.group_name = email, group_name

    def clean_password(self) -> str:
        password = str(self.cleaned_data["password"])
        newcomer = User(email=self.email, name=str(self.cleaned_data.get("name", "")))
        newcomer.joining = self.group_name
        validate_password(password, newcomer)
        return password


class RoleForm(forms.Form):
    """Another role for a member."""

    role = forms.ChoiceField(label=_("Role"), choices=Role.choices)


class GroupForm(forms.ModelForm[Group]):
    """What a coordinator decides for the whole group."""

    language = forms.ChoiceField(
        label=_("Language"),
        choices=lambda: language_choices(_("the portal's own")),
        required=False,
        help_text=_("Of the yearly report, and of whatever goes to somebody who has chosen no language."),
    )

    class Meta:
        model = Group
        fields = ["name", "about", "language", "is_public", "hold_hours", "acknowledge_hours"]
        help_texts = {
            "is_public": _("Approved results and published reports can be read without an account."),
            "hold_hours": _(
                "0 sends at once, marked as not yet checked. Counted by the clock, nights and weekends too."
            ),
            "acknowledge_hours": _(
                "After that the next contact of the site is told as well."
                " Counted in the contact's working hours where you have noted them, else by the clock."
            ),
        }
        widgets = {"about": forms.Textarea(attrs={"rows": 5})}
