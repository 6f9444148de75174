"""The sign-in library's forms in our words."""

from __future__ import annotations

from typing import Any

from allauth.account.forms import (
    AddEmailForm,
    ChangePasswordForm,
    LoginForm,
    ResetPasswordForm,
    ResetPasswordKeyForm,
    SetPasswordForm,
)
from allauth.mfa.base.forms import AuthenticateForm, ReauthenticateForm
from allauth.mfa.totp.forms import ActivateTOTPForm
from allauth.mfa.webauthn.forms import (
    AddWebAuthnForm,
    AuthenticateWebAuthnForm,
    EditWebAuthnForm,
    LoginWebAuthnForm,
    ReauthenticateWebAuthnForm,
)
from django import forms
from django.utils.translation import gettext_lazy as _

from portal.accounts.forms import PASSWORD_HELP

MOST_LETTERS = 60
NAME_LABEL = _("What you call it")


class _TypedOnce:
    """A new password is typed once: it can be looked at, which tells more than typing it blindly again."""

    fields: dict[str, forms.Field]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields.pop("password2")
        if "oldpassword" in self.fields:
            self.fields["oldpassword"].label = _("Your present password")
        self.fields["password1"].label = _("Your new password")
        self.fields["password1"].help_text = PASSWORD_HELP
        for field in self.fields.values():
            field.widget.attrs.pop("placeholder", None)


class NewPasswordForm(_TypedOnce, ChangePasswordForm):  # type: ignore[misc]
    pass


class FirstPasswordForm(_TypedOnce, SetPasswordForm):  # type: ignore[misc]
    pass


class ForgottenPasswordForm(_TypedOnce, ResetPasswordKeyForm):  # type: ignore[misc]
    pass


class _AddressInOurWords:
    """The e-mail address is called what the rest of the portal calls it, by its label alone."""

    fields: dict[str, forms.Field]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.widget.attrs.pop("placeholder", None)
            if isinstance(field, forms.EmailField):
                field.label = _("E-mail address")


class SignInForm(_AddressInOurWords, LoginForm):  # type: ignore[misc]
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # The way to a new password stands below the button: here the tab key would meet it before the field.
        self.fields["password"].help_text = ""


class AskForLinkForm(_AddressInOurWords, ResetPasswordForm):  # type: ignore[misc]
    pass


class FurtherAddressForm(_AddressInOurWords, AddEmailForm):  # type: ignore[misc]
    pass


class CredentialField(forms.JSONField):
    """What a browser says of a passkey; a hostile depth of brackets is no more than a mistake."""

    def __init__(self) -> None:
        super().__init__(widget=forms.HiddenInput)

    def to_python(self, value: Any) -> Any:
        try:
            return super().to_python(value)
        except RecursionError:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid") from None

    def bound_data(self, data: Any, initial: Any) -> Any:
        try:
            return super().bound_data(data, initial)
        except RecursionError:
            return None


class PasskeyForm(AuthenticateWebAuthnForm):  # type: ignore[misc]
    credential = CredentialField()


class PasskeyAloneForm(LoginWebAuthnForm):  # type: ignore[misc]
    credential = CredentialField()


class PasskeyAgainForm(ReauthenticateWebAuthnForm):  # type: ignore[misc]
    credential = CredentialField()


class AddPasskeyForm(AddWebAuthnForm):  # type: ignore[misc]
    credential = CredentialField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        name, alone = self.fields["name"], self.fields["passwordless"]
        name.label, name.max_length = NAME_LABEL, MOST_LETTERS
        name.help_text = _("So that you know it again: the phone, laptop or key that keeps it.")
        alone.label, alone.initial = _("I want to sign in with it alone, without my password"), True
        alone.help_text = _(
            "It then asks for a finger, a face or a PIN each time. Most phones and laptops can."
        )

    def clean_name(self) -> str:
        return str(super().clean_name())[:MOST_LETTERS]


class NamePasskeyForm(EditWebAuthnForm):  # type: ignore[misc]
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["name"] = forms.CharField(label=NAME_LABEL, max_length=MOST_LETTERS)


def _as_code(field: forms.Field, label: Any, help_text: Any) -> None:
    field.label, field.help_text = label, help_text
    field.widget.attrs = {"autocomplete": "one-time-code", "inputmode": "numeric"}


class ActivateCodesForm(ActivateTOTPForm):  # type: ignore[misc]
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _as_code(
            self.fields["code"],
            _("Code that the app shows now"),
            _("Six digits, a new code every half minute."),
        )


class CodeForm(AuthenticateForm):  # type: ignore[misc]
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _as_code(self.fields["code"], _("Code"), _("The six digits of your app, or a recovery code of eight."))


class CodeAgainForm(ReauthenticateForm):  # type: ignore[misc]
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _as_code(self.fields["code"], _("Code"), _("The six digits of your app, or a recovery code of eight."))
