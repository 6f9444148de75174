"""What became of findings, rule by rule, and which rules mostly ask for nothing."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from surveys.models import Finding
from surveys.review.rule_counts import RuleCount, rule_counts
from surveys.rules import rule_named
from tests.conftest import Cast
from tests.factories import SiteFactory, VisitFactory
from tests.surveys.pages import text_of

ACCEPTED, MENDED = Finding.Decision.ACCEPTED, Finding.Decision.MENDED


def findings(cast: Cast, rule: str, decision: str, number: int, **visit: Any) -> None:
    made = VisitFactory(site=visit.pop("site", cast.site), **visit)
    Finding.objects.bulk_create(
        Finding(visit=made, rule=rule, field=f"notes.{each}", message="Look.", decision=decision)
        for each in range(number)
    )


def count_of(cast: Cast, rule: str) -> RuleCount:
    return next(each for each in rule_counts(cast.group, timezone.now()) if each.rule.id == rule)


def test_it_counts_what_became_of_each_rules_findings(cast: Cast) -> None:
    findings(cast, "deep", ACCEPTED, 3)
    findings(cast, "deep", MENDED, 2)
    findings(cast, "deep", "", 4)
    found = count_of(cast, "deep")
    assert (found.accepted, found.mended, found.waiting, found.raised, found.decided) == (3, 2, 4, 9, 5)


def test_it_lists_silent_rules_too_but_none_that_makes_no_findings(cast: Cast) -> None:
    listed = [each.rule.id for each in rule_counts(cast.group, timezone.now())]
    assert "spate" in listed
    assert "date_future" not in listed
    assert len(listed) == len(set(listed))


@pytest.mark.parametrize(
    ("accepted", "mended", "noisy"),
    [(9, 1, True), (8, 1, False), (8, 2, False), (18, 2, True), (17, 3, False), (0, 0, False)],
)
def test_it_is_noisy_from_nine_of_ten_dismissed(accepted: int, mended: int, noisy: bool) -> None:
    rule = rule_named("deep")
    assert rule
    assert RuleCount(rule, accepted, mended, waiting=50).is_noisy is noisy


def test_it_leaves_out_other_groups_and_what_is_over_two_years_old(cast: Cast) -> None:
    findings(cast, "deep", ACCEPTED, 10, site=cast.neighbour_site, group=cast.neighbour)
    findings(cast, "spate", ACCEPTED, 10, submitted_at=timezone.now() - timedelta(days=731))
    findings(cast, "alone", ACCEPTED, 10, submitted_at=timezone.now() - timedelta(days=729))
    findings(cast, "retired_rule", ACCEPTED, 10)
    assert [each.rule.id for each in rule_counts(cast.group, timezone.now()) if each.raised] == ["alone"]
    assert count_of(cast, "deep").raised == 0


def test_it_puts_noisy_rules_first_then_the_busiest(cast: Cast) -> None:
    findings(cast, "deep", MENDED, 30)
    findings(cast, "spate", ACCEPTED, 10)
    findings(cast, "alone", MENDED, 12)
    assert [each.rule.id for each in rule_counts(cast.group, timezone.now())][:3] == ["spate", "deep", "alone"]


def test_it_takes_one_query_however_many_sites(
    cast: Cast, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for _each in range(4):
        findings(cast, "deep", ACCEPTED, 2, site=SiteFactory(group=cast.group))
    with django_assert_num_queries(1):
        rule_counts(cast.group, timezone.now())


def test_the_page_names_a_noisy_rule_in_words(cast: Cast, client: Client) -> None:
    findings(cast, "deep", ACCEPTED, 19)
    findings(cast, "deep", MENDED, 1)
    client.force_login(cast.coordinator)
    page = text_of(client.get(reverse("rule_counts_list", kwargs={"slug": cast.group.slug})))
    assert "19 of 20 times it was right as recorded" in page
    assert page.count("mostly dismissed") == 1
