"""Counts in the real world: seen and not counted, a share of the tray sorted, finds of the whole tray."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from scoring.samples import Count
from surveys.forms import data_from_post, read_entry
from surveys.models import Site, Visit
from surveys.scores.conventions import conventions_of
from surveys.scores.judging import counts_of, share_of
from surveys.services.visits import correct_visit
from surveys.submission import (
    Entry,
    InvalidSubmission,
    Problem,
    as_data,
    differences,
    parse_submission,
    submission_data,
    submission_of,
)
from surveys.views.shared import find_visit
from surveys.visits.sheets import VisitSheet, score_lines
from tests.conftest import Cast
from tests.factories import TaxonCountFactory, VisitFactory, data_for, submit

SHARE: list[dict[str, Any]] = [
    {"taxon": "Baetidae", "count": "12"},
    {"taxon": "Elmidae", "range": "10-99"},
    {"taxon": "Chironomidae", "present": True},
    {"taxon": "Perlidae", "count": "2", "whole_tray": True},
]


@pytest.fixture
def site() -> Site:
    """A site that needs no database."""
    return Site(name="Stepping stones")


def read(at: Site, **changes: Any) -> Any:
    return parse_submission(data_for(at, **changes))


def problems(at: Site, **changes: Any) -> dict[str, Problem]:
    with pytest.raises(InvalidSubmission) as refused:
        parse_submission(data_for(at, **changes))
    return {each.field: each for each in refused.value.problems}


def test_it_reads_what_was_seen_and_not_counted(site: Site) -> None:
    (entry,) = read(site, counts=[{"taxon": "Elmidae", "present": True}]).counts
    assert entry == Entry("Elmidae")
    assert (entry.is_present, entry.fewest) == (True, 1)


@pytest.mark.parametrize(
    ("amount", "entry"),
    [({"count": "4"}, Entry("Elmidae", count=4)), ({"range": "1-9"}, Entry("Elmidae", low=1, high=9))],
)
def test_it_prefers_a_number_to_mere_presence(site: Site, amount: dict[str, str], entry: Entry) -> None:
    assert read(site, counts=[{"taxon": "Elmidae", "present": True, **amount}]).counts == (entry,)


def test_it_asks_when_a_taxon_was_seen_and_not_found(site: Site) -> None:
    found = problems(site, counts=[{"taxon": "Elmidae", "present": True, "count": "0"}])
    assert found["counts.Elmidae"].rule == "count_at_odds"


def test_it_asks_for_an_amount_where_none_is_said(site: Site) -> None:
    found = problems(site, counts=[{"taxon": "Elmidae", "present": False}])
    assert found["counts.Elmidae"].rule == "missing"


@pytest.mark.parametrize(
    ("typed", "kept"),
    [("1/4", "1/4"), (" 6 / 30 ", "6/30"), ("1⁄4", "1/4"), ("", ""), ("4/4", ""), ("1/1", "")],
)
def test_it_reads_the_fraction_sorted(site: Site, typed: str, kept: str) -> None:
    assert read(site, fraction_sorted=typed).fraction_sorted == kept


@pytest.mark.parametrize("typed", ["0/4", "1/0", "a quarter", "0.25", "1/4/2", "-1/4", "5/4", "1/10000"])
def test_it_refuses_what_is_no_share_of_a_tray(site: Site, typed: str) -> None:
    found = problems(site, fraction_sorted=typed)
    assert found["fraction_sorted"].rule == "fraction_sorted"


def test_it_takes_a_taxon_in_the_share_and_apart_in_the_whole_tray(site: Site) -> None:
    both = [{"taxon": "Perlidae", "count": "1"}, {"taxon": "Perlidae", "count": "3", "whole_tray": True}]
    found = read(site, fraction_sorted="1/4", counts=both)
    assert [entry.field for entry in found.counts] == ["counts.Perlidae", "whole_tray.Perlidae"]


def test_it_says_at_the_line_of_the_whole_tray_what_is_wrong_there(site: Site) -> None:
    found = problems(site, counts=[{"taxon": "Perlidaee", "count": "x", "whole_tray": True}])
    assert list(found) == ["whole_tray.Perlidaee"]


def test_it_reads_back_what_it_writes(site: Site) -> None:
    submission = read(site, fraction_sorted="1/4", counts=SHARE)
    assert parse_submission(as_data(submission)) == submission


def test_it_tells_lines_of_the_whole_tray_apart_in_what_was_changed(site: Site) -> None:
    data = data_for(site, fraction_sorted="1/4", counts=SHARE)
    before, after = (
        parse_submission(data | {"counts": counts})
        for counts in (SHARE, [*SHARE[:2], {"taxon": "Chironomidae", "count": "7"}, SHARE[3] | {"count": "3"}])
    )
    assert differences(before, after) == {
        "counts.Chironomidae": ["present", "7"],
        "whole_tray.Perlidae": ["2", "3"],
    }


def test_it_hands_scoring_the_share_and_never_multiplies_the_whole_tray() -> None:
    visit = Visit(fraction_sorted="1/4")
    lines = [Entry("Baetidae", count=12), Entry("Elmidae"), Entry("Perlidae", count=2, whole_tray=True)]
    assert counts_of(visit, lines) == [
        Count("Baetidae", 12, fraction=0.25),
        Count("Elmidae", fraction=0.25),
        Count("Perlidae", 2, fraction=1.0),
    ]


@pytest.mark.parametrize(("typed", "share"), [("", 1.0), ("1/4", 0.25), ("6/30", 0.2)])
def test_it_knows_the_share_as_a_number(typed: str, share: float) -> None:
    assert share_of(typed) == pytest.approx(share)


def test_it_keeps_all_of_it_with_the_visit(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, fraction_sorted="1/4", counts=SHARE)
    saved = submission_data(visit)
    assert saved["fraction_sorted"] == "1/4"
    assert [entry | {"recorded_as": ""} for entry in SHARE] == [
        {key: value for key, value in entry.items()} for entry in saved["counts"]
    ]


def test_it_scores_a_sorted_share_with_its_limits(cast: Cast) -> None:
    counts = [{"taxon": "Baetidae", "count": "12"}, {"taxon": "Elmidae", "count": "4"}]
    person = cast.person("volunteer")
    whole = submit(person, cast.site, counts=counts)
    share = submit(person, cast.site, fraction_sorted="1/4", counts=counts)
    exact, estimate = (each.scores.get(index="shannon") for each in (whole, share))
    # Both numbers are multiplied alike, so the index stays, but now it has limits.
    assert estimate.value == pytest.approx(exact.value)
    assert (exact.low, exact.high) == (None, None)
    assert estimate.low is not None
    assert estimate.value is not None
    assert estimate.high is not None
    assert estimate.low < estimate.value < estimate.high


def test_it_gives_no_index_of_numbers_where_one_was_not_counted(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, counts=[*SHARE[:1], SHARE[2]])
    assert visit.scores.get(index="bmwp").value == 6
    assert visit.scores.get(index="shannon").value is None
    assert "Chironomidae" in visit.scores.get(index="shannon").why_none


def test_it_asks_which_fraction_was_sorted_when_some_came_from_the_whole_tray(cast: Cast) -> None:
    with pytest.raises(InvalidSubmission) as refused:
        submit(cast.person("volunteer"), cast.site, counts=SHARE)
    (problem,) = refused.value.problems
    assert (problem.field, problem.rule) == ("fraction_sorted", "fraction_sorted")


def test_it_corrects_the_fraction_and_scores_anew(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, fraction_sorted="1/4", counts=SHARE)
    data = submission_data(visit) | {"fraction_sorted": "1/2"}
    corrected = correct_visit(
        person=cast.person("coordinator"),
        visit=visit,
        submission=parse_submission(data),
        reason="The tray had two halves.",
    )
    assert submission_of(corrected).fraction_sorted == "1/2"
    assert corrected.scores.filter(index="bmwp").count() == 2


@pytest.mark.parametrize("fraction", ["1", "0/4", "one"])
def test_the_database_keeps_no_fraction_that_cannot_be_read(cast: Cast, fraction: str) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        VisitFactory(site=cast.site, fraction_sorted=fraction)


@pytest.mark.parametrize("wrong", [{"count": None, "high": 9}, {"count": 3, "low": 1}])
def test_the_database_keeps_no_half_range(cast: Cast, wrong: dict[str, Any]) -> None:
    visit = VisitFactory(site=cast.site)
    with pytest.raises(IntegrityError), transaction.atomic():
        TaxonCountFactory(visit=visit, **wrong)


def test_the_form_reads_the_new_answers() -> None:
    data = data_from_post(
        {
            "fraction_sorted": " 1/4 ",
            "counts-Elmidae-range": "present",
            "whole-1-name": "Perlidae",
            "whole-1-count": "2",
            "whole-2-name": "",
        }
    )
    assert data["fraction_sorted"] == "1/4"
    assert data["counts"] == [
        {"taxon": "Elmidae", "recorded_as": "", "present": True},
        {"taxon": "Perlidae", "recorded_as": "", "count": "2", "whole_tray": True},
    ]


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"count": "2"}, "Say what it was"),
        ({"taxon": "Perlidae"}, "Say how many"),
        ({"taxon": "Perlidae", "present": True, "none": True}, "looked for, none"),
    ],
)
def test_the_form_asks_at_the_row_of_the_whole_tray(cast: Cast, row: dict[str, Any], message: str) -> None:
    data = data_for(cast.site, fraction_sorted="1/4", counts=[row | {"whole_tray": True}])
    with pytest.raises(InvalidSubmission) as refused:
        read_entry(data, number=cast.site.pk, site=cast.site.pk)
    (problem,) = [each for each in refused.value.problems if message in each.message]
    assert problem.field == f"whole_tray.{row.get('taxon', '')}"


def shown(client: Client, cast: Cast, visit: Visit) -> str:
    client.force_login(cast.volunteer)
    arguments = {"slug": cast.group.slug, "visit_id": visit.pk}
    return client.get(reverse("visit_detail", kwargs=arguments)).content.decode()


def test_the_page_says_what_was_recorded_and_what_stands_for_it(client: Client, cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, fraction_sorted="1/4", counts=SHARE)
    page = shown(client, cast, visit)
    for words in (
        "seen, not counted",
        "2 in the whole tray",
        "1/4 of the tray was sorted",
        "3, 33, 333 or 3,333 stands for a range",
        "multiplied by 4;",
        "is not multiplied",
    ):
        assert words in page


def test_the_page_gives_lowest_and_highest_score(client: Client, cast: Cast) -> None:
    counts = [{"taxon": "Baetidae", "range": "10-99"}, {"taxon": "Elmidae", "count": "5"}]
    visit = submit(cast.person("volunteer"), cast.site, counts=counts)
    score = visit.scores.get(index="shannon")
    assert f"from {score.low:.2f} to {score.high:.2f} by what was recorded" in shown(client, cast, visit)


def test_it_names_no_convention_where_everything_was_counted(client: Client, cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    assert conventions_of(visit) == []
    assert "by what was recorded" not in shown(client, cast, visit)


def test_the_sheet_tells_the_two_parts_of_a_tray_apart(cast: Cast) -> None:
    both = [{"taxon": "Perlidae", "count": "1"}, {"taxon": "Perlidae", "count": "3", "whole_tray": True}]
    visit = submit(cast.person("volunteer"), cast.site, fraction_sorted="1/3", counts=both)
    found = find_visit(cast.person("volunteer"), cast.group, visit.pk)
    assert [line.value for line in VisitSheet(found).found] == ["1", "3 in the whole tray"]
    assert "by 3;" in " ".join(conventions_of(found))
    assert all(line.low == "" for line in score_lines(found) if line.index == "bmwp")


def test_a_resubmission_keeps_the_form_filled(client: Client, cast: Cast) -> None:
    from surveys.services.drafts import save_draft, start_visit

    person = cast.person("volunteer")
    draft = start_visit(person=person, site=cast.site)
    data = data_for(cast.site, fraction_sorted="1/4", counts=SHARE)
    save_draft(person=person, site=cast.site, number=draft.pk, data=data)
    client.force_login(cast.volunteer)
    address = reverse("visit_submit", kwargs={"slug": cast.group.slug, "draft_id": draft.pk})
    page = client.get(address).content.decode()
    assert 'name="fraction_sorted" value="1/4"' in page
    assert 'name="whole-1-name" value="Perlidae"' in page
    assert '<option value="present" selected>' in page
