"""Nothing that a group keeps to itself stands on any public address: fields are marked, addresses read."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, ProgrammingError, models, transaction
from django.test import Client
from django.urls import reverse

from portal.audit.watching import OUR_APPS
from portal.public.data.services import make_open_data
from portal.reports.models import YearlyReport
from surveys.models import Visit
from surveys.models.visits import Status
from tests.access import scene
from tests.access.test_matrix import ADDRESSES
from tests.access.world import World
from tests.conftest import Cast

once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world

MARK = "zqx"
# What a group publishes by choosing to: each of these is meant to be read by everybody.
PUBLISHED = {
    *("accounts.group.name", "accounts.group.slug", "accounts.group.about"),
    *("surveys.site.code", "surveys.site.name", "surveys.site.river"),
    # The name of an animal as it was recorded, which an archive tells word for word.
    *("surveys.taxoncount.taxon", "surveys.taxoncount.recorded_as", "surveys.recordinglist.slug"),
    *("exporting.publishingterms.attribution", "exporting.publishingterms.contact_email"),
    *("public.catchment.name", "public.catchmentshare.name"),
}
# Keys of tables of ours, which nobody writes by hand.
KEYS = {
    *(
        "surveys.visitscore.index",
        "surveys.visitscore.version",
        "alerts.trigger.index",
        "surveys.listtaxon.taxon",
    ),
    *("surveys.listtaxon.taxon", "surveys.measurement.quantity", "surveys.measurement.unit"),
    "surveys.recordinglist.version",
    *("accounts.group.language", "surveys.spoteffort.flow_type", "surveys.visit.fraction_sorted"),
}
# Kept as they are, because their text is read by the portal itself or frozen when it was published.
LEFT = {"public.opendatafile", "reports.yearlyreport", "audit.auditentry", "audit.rowchange", "jobs.job"}
WHERE = ("public_", "robots", "sitemap", "enquiry_ask")


def text_fields() -> Iterator[tuple[type[models.Model], models.Field[Any, Any]]]:
    """Every field of ours in which somebody may write what they like."""
    for model in apps.get_models():
        label = model._meta.label_lower
        if not model.__module__.startswith(OUR_APPS) or label in LEFT:
            continue
        for field in model._meta.concrete_fields:
            is_text = isinstance(field, models.CharField | models.TextField) and not field.choices
            if is_text and f"{label}.{field.name}" not in PUBLISHED | KEYS:
                yield model, field


def mark_all() -> set[str]:
    """Put the mark into every text field that the database lets us change; the names of these fields."""
    marked = set()
    for number, (model, field) in enumerate(text_fields()):
        try:
            with transaction.atomic():
                done = models.QuerySet(model).update(**{field.name: f"{MARK}{number}"[: field.max_length]})
        except (IntegrityError, ProgrammingError):
            continue
        if done:
            marked.add(f"{model._meta.label_lower}.{field.name}")
    return marked


def addresses(world: World) -> list[str]:
    names = [name for name in ADDRESSES if name.startswith(WHERE)]
    found = [reverse(name, kwargs=world.arguments(name, ADDRESSES[name])) for name in names]
    data = reverse("public_data", kwargs=world.arguments("public_data", ["slug"]))
    return [*found, f"{data}taxa.csv", f"{data}archive.zip"]


def read(address: str) -> str:
    answer: Any = Client().get(address)
    assert answer.status_code == 200, address
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    if body.startswith(b"PK"):
        packed = zipfile.ZipFile(io.BytesIO(body))
        return "".join(packed.read(each).decode() for each in packed.namelist())
    return body.decode(errors="replace")


@pytest.fixture
def marked(world: World, cast: Cast) -> set[str]:
    """A group all of whose visits are approved but one, which waits with a count of its own."""
    visits = Visit.objects.of_group(cast.group)
    visits.update(status=Status.APPROVED, reviewed_by=cast.coordinator)
    cast.neighbour.is_public = True
    cast.neighbour.save()
    fields = mark_all()
    make_open_data(cast.group, lambda _done: None)
    return fields


def test_no_field_that_a_group_keeps_is_on_any_public_address(marked: set[str], world: World) -> None:
    for name in (
        "surveys.site.hazards",
        "surveys.visit.notes",
        "accounts.user.name",
        "alerts.incident.outcome_note",
    ):
        assert name in marked
    assert len(marked) > 60
    pages = addresses(world)
    assert len(pages) >= 13
    assert [each for each in pages if MARK in read(each)] == []


def test_the_mark_is_found_where_it_is_let_out(marked: set[str], world: World, cast: Cast) -> None:
    """The same search sees what a page does show, so that finding nothing means something."""
    cast.site.name = f"{MARK} ford"
    cast.site.save()
    assert any(MARK in read(each) for each in addresses(world))


def test_hidden_places_are_in_no_answer(marked: set[str], world: World, cast: Cast) -> None:
    cast.site.latitude, cast.site.longitude = 54.512345, -2.523456
    cast.site.save()
    make_open_data(cast.group, lambda _done: None)
    texts = {each: read(each) for each in addresses(world)}
    assert [each for each, text in texts.items() if "54.5123" in text or "2.5234" in text] == []
    assert any("54.51" in text for text in texts.values())
    assert YearlyReport.objects.of_group(cast.group).exists()
