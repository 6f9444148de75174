"""The demo's terms of publishing and its keys."""

from __future__ import annotations

import io
import zipfile

import pytest
from django.test import Client
from django.urls import reverse

from portal.accounts.models import Group
from portal.accounts.queries import members_of, person_of
from portal.reports.figures import describe_terms
from portal.reports.models import YearlyReport
from portal.tokens.models import ApiKey
from surveys.exporting.services import ARCHIVE, Wish, make_export, terms_of

pytestmark = pytest.mark.django_db


def test_an_archive_can_be_made_at_once(small_demo: Group) -> None:
    person = person_of(members_of(small_demo).filter(role="coordinator").order_by("joined_at")[0].user)
    assert terms_of(small_demo).licence == "CC-BY-4.0"
    with make_export(person=person, group=small_demo, wish=Wish(ARCHIVE)) as out:
        names = set(zipfile.ZipFile(io.BytesIO(out.read())).namelist())
    assert {"meta.xml", "eml.xml"} <= names


def test_its_report_is_given_on_the_terms_of_its_open_data(small_demo: Group, client: Client) -> None:
    report = YearlyReport.objects.of_group(small_demo).get()
    assert report.data["terms"] == describe_terms(terms_of(small_demo))
    pages = [reverse("public_report", args=[report.pk]), reverse("public_data", args=[small_demo.slug])]
    assert all("CC BY 4.0" in client.get(page).content.decode() for page in pages)


def test_one_key_is_in_use_and_one_revoked(small_demo: Group) -> None:
    owners = members_of(small_demo).filter(role="coordinator").values("user")
    keys = ApiKey.objects.filter(user__in=owners).order_by("name")
    assert [(key.name, key.is_valid) for key in keys] == [
        ("Old laptop", False),
        ("Weekly copy of the records", True),
    ]


def test_its_open_data_lies_ready(small_demo: Group, client: Client) -> None:
    address = reverse("public_data_file", kwargs={"slug": small_demo.slug, "file_name": "results.csv"})
    answer = client.get(address)
    assert answer.status_code == 200
    assert len(answer.getvalue().splitlines()) > 3
