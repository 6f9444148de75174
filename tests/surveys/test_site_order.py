"""Sites come by their codes as people count: QH2 before QH10."""

from __future__ import annotations

import random
import re

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from surveys.exporting.queries import chosen_sites
from surveys.models import Site
from surveys.models.codes import MOST_DIGITS
from surveys.offline.bank import bank_sites
from surveys.queries import sites_due
from tests.conftest import Cast
from tests.factories import GroupFactory, SiteFactory

pytestmark = pytest.mark.django_db
IN_ORDER = ["AB1", "AB2", "AB10", "AB10a", "AB11", "AB100", "QH01", "QH1", "QH2-9", "QH2-10", "Weir"]


@pytest.fixture
def many(cast: Cast) -> None:
    """Sites that were made in no order, beside the one of the cast."""
    codes = [each for each in IN_ORDER if each != cast.site.code]
    for code in random.Random(7).sample(codes, len(codes)):
        SiteFactory(group=cast.group, code=code, name="Ford")


def test_lists_come_in_that_order(cast: Cast, many: None) -> None:
    assert [each.code for each in Site.objects.of_group(cast.group)] == IN_ORDER
    assert [each.code for each in chosen_sites(cast.group)] == IN_ORDER


def test_what_is_due_alike_comes_in_that_order(cast: Cast, many: None) -> None:
    today = timezone.localdate()
    assert [each.site.code for each in sites_due(cast.group, today)] == IN_ORDER
    found = bank_sites(cast.person("volunteer"), today)
    assert [each.site.code for each in found if each.group == cast.group] == IN_ORDER


@pytest.mark.parametrize("name", ["site_list", "visit_list"])
def test_pages_show_that_order(cast: Cast, many: None, client: Client, name: str) -> None:
    """The table of sites, and the choice of a site in the filter of visits."""
    client.force_login(cast.coordinator)
    page = client.get(reverse(name, args=[cast.group.slug])).content.decode()
    shown = re.findall(rf">\s*({'|'.join(sorted(IN_ORDER, key=len, reverse=True))}) (?:Ford|Stepping)", page)
    assert list(dict.fromkeys(shown)) == IN_ORDER


def test_programs_get_that_order(cast: Cast, many: None, client: Client) -> None:
    client.force_login(cast.coordinator)
    answer = client.get(f"/api/v1/groups/{cast.group.slug}/sites/").json()
    rows = answer["results"] if isinstance(answer, dict) else answer
    assert [each["code"] for each in rows] == IN_ORDER


class TestAnyCodes(TestCase):
    @settings(max_examples=20, deadline=None)
    @given(st.lists(st.integers(0, 10**MOST_DIGITS - 1), min_size=2, max_size=6, unique=True))
    def test_numbers_count_by_their_value(self, numbers: list[int]) -> None:
        group = GroupFactory()
        for number in numbers:
            SiteFactory(group=group, code=str(number))
        found = Site.objects.of_group(group).values_list("code", flat=True)
        assert [int(code) for code in found] == sorted(numbers)
