"""Forms of what is kept of a member."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from django import forms
from django.utils.translation import gettext_lazy as _

from portal.accounts.forms import TelephoneField
from portal.accounts.models import Group, Membership, Role
from surveys.people.evidence import SplitSample, split_samples
from surveys.people.forms.enquiries import (
    NOT_AN_ADDRESS,
    day_input,
    member_choices,
    person_field,
    text_area,
)
from surveys.people.models import EmergencyContact, OtherHours, TrainingKind


class EmergencyForm(forms.ModelForm[EmergencyContact]):
    """Whom to ring for oneself."""

    class Meta:
        model = EmergencyContact
        fields = ["name", "phone", "relation"]
        field_classes = {"phone": TelephoneField}
        widgets = {"name": forms.TextInput(attrs={"autocomplete": "off"})}
        help_texts = {"relation": _("Such as: sister, neighbour. Ask them before you name them.")}

    def validate_constraints(self) -> None:
        """Left to the fields, which say kindly what is missing."""


class HoursForm(forms.ModelForm[OtherHours]):
    """Hours given beside visits."""

    number = forms.UUIDField(widget=forms.HiddenInput)

    class Meta:
        model = OtherHours
        fields = ["day", "work", "hours", "note"]
        widgets = {"day": day_input()}
        help_texts = {"hours": _("Such as 1.5. Visits count by themselves.")}

    def __init__(self, data: Any = None, *, today: Any = None) -> None:
        super().__init__(data, initial={"number": uuid4(), "day": today})


class LeavingForm(forms.Form):
    """A reason is welcome, and not asked for."""

    reason = forms.CharField(
        label=_("Why, if you like to say"), max_length=500, required=False, widget=text_area(2)
    )
    understood = forms.BooleanField(
        label=_("I have read what stays and what goes"),
        error_messages={"required": _("Read it first; then tick this.")},
    )


class GuardianForm(forms.Form):
    """Until when somebody is under 18, and whom to ask."""

    until = forms.DateField(
        label=_("18th birthday"), widget=day_input(), help_text=_("From this day on they count as an adult.")
    )
    guardian_name = forms.CharField(label=_("Guardian's name"), max_length=120)
    guardian_phone = TelephoneField(label=_("Guardian's telephone"), max_length=40, required=False)
    guardian_email = forms.EmailField(
        label=_("Guardian's e-mail address"), max_length=254, required=False, error_messages=NOT_AN_ADDRESS
    )


class BackForm(forms.Form):
    """As what somebody comes back."""

    role = forms.ChoiceField(label=_("Role"), choices=[], initial=Role.VOLUNTEER)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        chosen = (Role.VOLUNTEER, Role.COORDINATOR)
        self.fields["role"].choices = [(each.value, each.label) for each in chosen]  # type: ignore[attr-defined]


class KindForm(forms.ModelForm[TrainingKind]):
    """A kind of training."""

    is_retired = forms.BooleanField(label=_("No longer kept"), required=False)

    class Meta:
        model = TrainingKind
        fields = ["name", "permits", "valid_months"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance._state.adding:
            del self.fields["is_retired"]
        else:
            self.initial["is_retired"] = self.instance.retired_at is not None

    def validate_constraints(self) -> None:
        """Left to the service, which knows the group."""


class TrainingForm(forms.Form):
    """A training, by whom, until when and on what evidence."""

    trained_on = forms.DateField(label=_("Day"), widget=day_input())
    trainer_name = forms.CharField(
        label=_("Or the trainer's name"),
        max_length=120,
        required=False,
        help_text=_("If they are not a member of the group."),
    )
    valid_until = forms.DateField(
        label=_("Valid until"),
        widget=day_input(),
        required=False,
        help_text=_("Left empty: as long as this kind usually holds."),
    )
    evidence = forms.CharField(
        label=_("Evidence"),
        max_length=2000,
        required=False,
        help_text=_("Such as: kicked three spots to plan; certificate seen."),
        widget=text_area(3),
    )
    field_order = ("kind", "trained_on", "trainer", "trainer_name", "valid_until", "split_sample", "evidence")

    def __init__(self, data: Any = None, *, membership: Membership) -> None:
        super().__init__(data)
        group: Group = membership.group
        kinds = TrainingKind.objects.of_group(group).filter(retired_at=None)
        choices = [("", _("choose a kind")), *((str(each.pk), each.name) for each in kinds)]
        self.fields["kind"] = forms.TypedChoiceField(label=_("Kind"), choices=choices, coerce=UUID)
        others = [each for each in member_choices(group) if each[0] != str(membership.user_id)]
        self.fields["trainer"] = person_field(
            _("Trainer"), [("", _("somebody else, named below")), *others], required=False
        )
        samples = [("", _("none")), *((each.key, sample_words(each)) for each in split_samples(membership))]
        self.fields["split_sample"] = forms.ChoiceField(
            label=_("Split sample with the trainer"),
            choices=samples,
            required=False,
            help_text=_("Counts of one site and day by both. The figures are kept as they stand now."),
        )
        self.order_fields(self.field_order)


def sample_words(sample: SplitSample) -> str:
    """A pair of counts in one line."""
    figures = ", ".join(f"{each.label} {each.value:.0f}" for each in sample.measures[:2])
    who = sample.others.recorder.name if sample.others.recorder else ""
    return f"{sample.own.site}, {sample.own.visited_on}: {who}. {figures}"
