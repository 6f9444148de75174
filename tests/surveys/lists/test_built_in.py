"""The built-in recording list of families."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction

from scoring.tables import read_table
from surveys.models import ListTaxon, RecordingList
from surveys.services.built_in_lists import SECTIONS, ensure_family_list, family_rows
from tests.factories import family_list

pytestmark = pytest.mark.django_db


def test_it_holds_every_taxon_of_the_scoring_table_once() -> None:
    taxa = list(family_list().taxa.values_list("taxon", flat=True))
    assert len(taxa) == 85
    assert sorted(taxa) == sorted(row["taxon"] for row in read_table("bmwp"))


def test_it_groups_them_in_plain_words() -> None:
    sections = list(dict.fromkeys(family_list().taxa.values_list("section", flat=True)))
    assert sections == list(SECTIONS.values())
    assert sections[:2] == ["Mayfly nymphs (Ephemeroptera)", "Stonefly nymphs (Plecoptera)"]


def test_it_has_an_english_name_for_each() -> None:
    labels = dict(family_list().taxa.values_list("taxon", "label"))
    assert all(labels.values())
    assert labels["Gammaridae"] == "Freshwater shrimp"


def test_it_keeps_the_lines_in_order() -> None:
    positions = list(family_list().taxa.values_list("position", flat=True))
    assert positions == list(range(1, 86))
    assert [row["position"] for row in family_rows()] == positions


def test_it_is_made_only_once() -> None:
    assert ensure_family_list() == ensure_family_list()
    assert RecordingList.objects.filter(slug="family").count() == 1
    assert ListTaxon.objects.filter(recording_list=family_list()).count() == 85


def test_it_belongs_to_no_group_and_so_to_all() -> None:
    found = family_list()
    assert (found.group, found.version, found.level) == (None, 1, "family")


def test_it_is_the_database_that_keeps_versions_apart() -> None:
    family_list()
    with pytest.raises(IntegrityError, match="one_list_version"), transaction.atomic():
        RecordingList.objects.create(slug="family", name="Again", level="family")


def test_it_is_the_database_that_keeps_a_taxon_single() -> None:
    with pytest.raises(IntegrityError, match="taxon_once_on_a_list"), transaction.atomic():
        ListTaxon.objects.create(recording_list=family_list(), position=99, taxon="Baetidae")
