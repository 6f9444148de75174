"""Wherever else somebody is named: names, addresses and numbers give way to the pseudonym in every text."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import models
from django.db.models import Exists, OuterRef, Q, QuerySet, TextField, Value
from django.db.models.functions import Cast

from portal.accounts.models import User
from portal.audit.watching import OUR_APPS

HOLD_TEXTS = (models.CharField, models.TextField, models.JSONField)
# Texts that are left as they are, each with the reason; the page on privacy says what of it matters to people.
UNTOUCHED: Mapping[str, str] = MappingProxyType(
    {
        "accounts.User": "a name and an address of others; one's own is emptied by hand",
        "accounts.Group": "the name and address of a group, not of somebody in it",
        "alerts.AgencyContact": "who is told of an incident; taken off the list before somebody is erased",
        "alerts.Forward": "who was told of an incident, part of the evidence",
        "alerts.IncidentEvent": "taken out part by part, with digests, in `trail`",
        "audit.AuditEntry": "taken out part by part, with digests, in `trail`",
        "audit.RowChange": "taken out part by part, with digests, in `trail`",
        "public.OpenDataFile": "made anew",
        "surveys.Site.name": "a place",
        "surveys.Site.river": "a place",
        "surveys.Site.catchment": "a place",
    }
)
# Nothing shorter is looked for: it would be found inside other words of the language.
SHORTEST = 5


@dataclass(frozen=True)
class Replacing:
    """Whole words to look for, whatever their case, and what stands there from now on."""

    words: frozenset[str]
    instead: str

    @property
    def pattern(self) -> re.Pattern[str]:
        found = "|".join(re.escape(each) for each in sorted(self.words, key=len, reverse=True))
        return re.compile(rf"(?<!\w)(?:{found})(?!\w)", re.IGNORECASE)

    def in_value(self, value: Any) -> Any:
        """The value of a text or JSON field with the words replaced, keys of JSON too."""
        if isinstance(value, str):
            return self.pattern.sub(self.instead, value)
        if isinstance(value, list):
            return [self.in_value(each) for each in value]
        if isinstance(value, dict):
            return {self.in_value(key): self.in_value(each) for key, each in value.items()}
        return value


def words_of(values: set[str], user: User) -> frozenset[str]:
    """Those of a person's values that tell them from everybody else.

    Names of one word are left out, and a name that somebody else of a group of theirs bears too.
    """
    namesakes = {each.strip().lower() for each in _others_names(user)}
    return frozenset(each for each in values if _tells(each) and each.strip().lower() not in namesakes)


def _tells(word: str) -> bool:
    is_name = " " in word.strip()
    return len(word.strip()) >= SHORTEST and (is_name or "@" in word or any(each.isdigit() for each in word))


def borne_by_nobody_else(words: frozenset[str], user: User) -> frozenset[str]:
    """Without names that anybody else of the whole portal bears, for texts whose group is not known."""
    names = {each.strip().lower() for each in User.objects.exclude(pk=user.pk).values_list("name", flat=True)}
    return frozenset(each for each in words if each.strip().lower() not in names)


def _others_names(user: User) -> QuerySet[User, str]:
    groups = user.memberships.values("group")
    return User.objects.filter(memberships__group__in=groups).exclude(pk=user.pk).values_list("name", flat=True)


def replace_everywhere(replacing: Replacing, groups: list[UUID]) -> None:
    """Replace in every text of these groups, and in those that belong to no group."""
    if not replacing.words:
        return
    for model in apps.get_models():
        fields = [each for each in _texts(model) if _may_change(model, each)]
        if fields and model.__module__.split(".")[0] in OUR_APPS:
            for row in _rows_with(model, fields, replacing, groups):
                _replace_in(row, fields, replacing)


def _texts(model: type[models.Model]) -> list[models.Field[Any, Any]]:
    return [each for each in model._meta.concrete_fields if isinstance(each, HOLD_TEXTS) and not each.choices]


def _may_change(model: type[models.Model], field: models.Field[Any, Any]) -> bool:
    named = {model._meta.label, f"{model._meta.label}.{field.name}"}
    return not (field.primary_key or isinstance(field, models.SlugField) or named & set(UNTOUCHED))


def _rows_with(
    model: type[models.Model], fields: list[models.Field[Any, Any]], replacing: Replacing, groups: list[UUID]
) -> Iterator[models.Model]:
    texts = {f"text_{each.name}": Cast(each.name, TextField()) for each in fields}
    rows: QuerySet[Any] = _in_groups(model, groups).annotate(**texts)
    some = Q()
    for each in fields:
        for word in replacing.words:
            some |= Q(**{f"text_{each.name}__icontains": word})
    return rows.filter(some).order_by("pk").iterator(chunk_size=200)


def _in_groups(model: type[models.Model], groups: list[UUID]) -> QuerySet[Any]:
    rows = _without_frozen(model, model._base_manager.all())
    path = getattr(model, "group_path", "group")
    if path == "group" and not any(each.name == "group" for each in model._meta.concrete_fields):
        return rows
    return rows.filter(Q(**{f"{path}__in": groups}) | Q(**{path: None}))


def _without_frozen(model: type[models.Model], rows: QuerySet[Any]) -> QuerySet[Any]:
    """Leave out what is published or sealed: the database or a digest holds it as it is."""
    label = model._meta.label
    if label == "reports.YearlyReport":
        return rows.exclude(state="published")
    incidents = apps.get_model("alerts.Incident")._base_manager.filter(visits=OuterRef("pk"))
    is_sealed = Exists(incidents) if label == "surveys.Visit" else Value(False)
    marked: QuerySet[Any] = rows.annotate(is_sealed=is_sealed)
    return marked


# What was noted at a visit is sealed with an incident, as a part of what was found.
SEALED = frozenset({"notes", "pollution_signs"})


def _replace_in(row: Any, fields: list[models.Field[Any, Any]], replacing: Replacing) -> None:
    changed = {}
    for each in fields:
        before = getattr(row, each.attname)
        after = replacing.in_value(before)
        if after != before and not (getattr(row, "is_sealed", False) and each.name in SEALED):
            longest = getattr(each, "max_length", None)
            changed[each.name] = after[:longest] if longest and isinstance(after, str) else after
    if changed:
        type(row)._base_manager.filter(pk=row.pk).update(**changed)
