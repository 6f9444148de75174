"""The register names every field that may hold something of a person, and the docs say the same."""

from __future__ import annotations

from pathlib import Path

from django.apps import apps
from django.conf import settings
from django.db import models
from django.test import Client
from django.urls import reverse

from portal.audit.watching import OUR_APPS
from portal.privacy.document import kept_table
from portal.privacy.kept import BY_ADDRESS, End, label_of
from portal.privacy.register import KEPT, NOTHING_PERSONAL

# What may hold words, a file or a place; a choice from a list of ours tells nothing of its own.
TELLING = (models.CharField, models.TextField, models.JSONField, models.FileField, models.GenericIPAddressField)
PLACES = ("latitude", "longitude", "accuracy_m")
# Of packages: they keep accounts and sign-ins.
THEIRS = ("account", "mfa", "sessions", "usersessions", "auth", "contenttypes")
NAMED = {name for kind in KEPT for name in kind.fields}


def telling_fields() -> set[str]:
    """Every field there is that may tell something of somebody, by the rule above."""
    ours = [each for each in apps.get_models(include_auto_created=True) if _is_asked(each)]
    return {label_of(field) for model in ours for field in model._meta.concrete_fields if _tells(field)}


def _is_asked(model: type[models.Model]) -> bool:
    return model._meta.app_label in THEIRS or model.__module__.split(".")[0] in OUR_APPS


def _tells(field: models.Field[object, object]) -> bool:
    words = isinstance(field, TELLING) and not field.choices and not field.primary_key
    return words or field.name.endswith(PLACES)


def unnamed(fields: set[str]) -> set[str]:
    """Those that no entry names and that are not said to hold nothing personal."""
    return {each for each in fields - NAMED if not {each, each.rpartition(".")[0]} & set(NOTHING_PERSONAL)}


def test_every_field_that_may_tell_of_somebody_is_in_the_register() -> None:
    assert not unnamed(telling_fields())


def test_a_new_field_would_be_noticed() -> None:
    assert unnamed({"people.Minor.school"}) == {"people.Minor.school"}


def test_it_names_no_field_that_is_not_there() -> None:
    there = {label_of(field) for model in apps.get_models() for field in model._meta.concrete_fields}
    assert not NAMED - there
    models_there = {each.rpartition(".")[0] for each in there}
    assert not set(NOTHING_PERSONAL) - there - models_there


def test_a_field_is_either_personal_or_not() -> None:
    assert not NAMED & set(NOTHING_PERSONAL)


def test_each_path_to_an_account_leads_to_one() -> None:
    for held in (held for kind in KEPT for held in kind.held):
        model = apps.get_model(held.model)
        if held.owner.startswith(BY_ADDRESS):
            model._meta.get_field(held.owner.removeprefix(BY_ADDRESS))
        else:
            model._base_manager.filter(**{held.owner: None}).query  # noqa: B018
        model._base_manager.values(*held.fields, *held.tell)
        assert held.end == End.STAY or held.end == End.DELETE or held.fields, held


def test_the_page_and_the_document_say_the_same(client: Client, db: None) -> None:
    page = client.get(reverse("privacy_page")).content.decode()
    text = (Path(settings.BASE_DIR) / "portal" / "deploy" / "PRIVACY.md").read_text(encoding="utf-8")
    assert kept_table() in text, "write it anew with portal.privacy.document.kept_table"
    for kind in KEPT:
        assert f'id="kept-{kind.key}"' in page
    assert client.get("/").content.decode().count(reverse("privacy_page")) == 1
