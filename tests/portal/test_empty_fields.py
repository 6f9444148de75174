"""What stands at a field that was left empty: what to do, in every form there is."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django import forms
from django.test import Client
from django.urls import get_resolver, reverse
from django.utils.translation import override

from tests.conftest import Cast
from tests.surveys.pages import signed_in, text_of


def kinds_of_form(kind: type[forms.BaseForm] = forms.BaseForm) -> Iterator[type[forms.BaseForm]]:
    for each in kind.__subclasses__():
        yield each
        yield from kinds_of_form(each)


@pytest.fixture(scope="module")
def fields() -> dict[str, forms.Field]:
    """Each field that any form declares; the addresses bring in the modules that do."""
    assert get_resolver().url_patterns
    ours = [each for each in kinds_of_form() if not each.__module__.startswith(("tests.", "django."))]
    declared = {each: getattr(each, "base_fields", {}) for each in ours}
    return {
        f"{form.__module__}.{form.__name__}.{name}": field
        for form in ours
        for name, field in declared[form].items()
    }


def test_no_form_says_only_that_a_field_is_required(fields: dict[str, forms.Field]) -> None:
    assert len(fields) > 200
    with override("en-gb"):
        told = {name: str(field.error_messages["required"]) for name, field in fields.items()}
    assert [name for name, words in told.items() if "required" in words] == []


@pytest.mark.parametrize(
    ("field", "words"),
    [
        (forms.CharField(), "Fill this in."),
        (forms.DateField(), "Fill this in."),
        (forms.ChoiceField(choices=[("a", "a")]), "Choose one of the answers offered."),
        (forms.BooleanField(), "Tick this to go on."),
        (forms.FileField(), "Choose a file first."),
        (forms.CharField(error_messages={"required": "Its own words."}), "Its own words."),
    ],
    ids=["text", "date", "choice", "tick", "file", "own"],
)
def test_it_says_what_to_do_with_this_kind(field: forms.Field, words: str) -> None:
    with pytest.raises(forms.ValidationError, match=f"^\\['{words}'\\]$"):
        field.clean("")


@pytest.mark.django_db
def test_signing_in_speaks_of_an_e_mail_address_as_all_pages_do(cast: Cast) -> None:
    asked = [Client().get(reverse(name)) for name in ("account_login", "account_reset_password")]
    asked.append(signed_in(cast.volunteer).get(reverse("account_email")))
    for page in asked:
        assert "E-mail address" in text_of(page)
        assert 'placeholder="' not in page.content.decode()
        assert " Email " not in text_of(page)
    assert "Fill this in." in text_of(Client().post(reverse("account_login"), {}))
