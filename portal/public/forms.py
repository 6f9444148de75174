"""The forms of sharing in a catchment."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from portal.public.catchments import sites_below
from portal.public.models import Catchment, CatchmentShare
from surveys.models import Site


class FoundForm(forms.ModelForm[Catchment]):
    """A catchment by name."""

    class Meta:
        model = Catchment
        fields = ("name",)


class JoinForm(forms.Form):
    """The word that a coordinator of another group has handed over."""

    word = forms.CharField(
        label=_("word of the catchment"),
        max_length=40,
        help_text=_("A coordinator of a group that shares already finds it on this page and gives it to you."),
    )


class SiteOfOthers(forms.ModelChoiceField):  # type: ignore[type-arg]
    """Sites of several groups, told apart by their groups."""

    def label_from_instance(self, obj: Site) -> str:
        return f"{obj.group.name}: {obj}"


class LinkForm(forms.Form):
    """Where the water of a group goes next."""

    next_site = SiteOfOthers(
        queryset=Site.objects.none(),
        required=False,
        label=_("where your water goes next"),
        help_text=_("The next site of another group below your lowest one. Leave it empty if there is none."),
    )

    def __init__(self, *args: object, share: CatchmentShare, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["next_site"].queryset = sites_below(share)  # type: ignore[attr-defined]
