"""A find that was worked out with the identification key: kept with its count, told to the reviewer."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import pytest

from surveys.forms import data_from_post, read_entry
from surveys.forms.counts import CountTable
from surveys.histories import label_of
from surveys.models import Site, Visit
from surveys.services.visits import correct_visit
from surveys.submission import (
    Entry,
    InvalidSubmission,
    as_data,
    differences,
    parse_submission,
    submission_data,
    submission_of,
)
from surveys.views.shared import find_visit
from surveys.visits.sheets import VisitSheet
from tests.conftest import Cast
from tests.factories import data_for, submit
from tests.surveys.pages import address, post_of, signed_in, text_of

KEYED: list[dict[str, Any]] = [
    {"taxon": "Baetidae", "count": "12"},
    {"taxon": "Gammaridae", "count": "3", "by_key": True},
]
NUMBER = UUID(int=1)


@pytest.fixture
def site() -> Site:
    """A site that needs no database."""
    return Site(name="Stepping stones")


def read(at: Site, *counts: dict[str, Any]) -> tuple[Entry, ...]:
    return parse_submission(data_for(at, counts=list(counts))).counts


def refusal(at: Site, *counts: dict[str, Any]) -> list[tuple[str, str]]:
    with pytest.raises(InvalidSubmission) as refused:
        read_entry(data_for(at, counts=list(counts)), number=NUMBER, site=NUMBER)
    return [(each.field, each.message) for each in refused.value.problems]


def test_it_reads_the_mark_of_the_key(site: Site) -> None:
    plain, keyed = read(site, *KEYED)
    assert (plain.by_key, keyed.by_key) == (False, True)


def test_it_writes_the_mark_only_where_there_is_one(site: Site) -> None:
    plain, keyed = as_data(parse_submission(data_for(site, counts=KEYED)))["counts"]
    assert "by_key" not in plain
    assert keyed["by_key"] is True


@pytest.mark.parametrize("said", [{"count": "0"}, {"none": True, "count": "0"}])
def test_it_asks_about_a_find_that_was_not_found(site: Site, said: dict[str, Any]) -> None:
    messages = [message for _field, message in refusal(site, {"taxon": "Gammaridae", "by_key": True, **said})]
    assert "You found it with the key, and say that none were found. Keep one of the two." in messages


def test_it_asks_once_about_a_find_whose_number_was_forgotten(site: Site) -> None:
    told = refusal(site, KEYED[0], {"taxon": "Gammaridae", "by_key": True})
    assert told == [
        (
            "counts.Gammaridae",
            "You found it with the key: say how many there were, or take the mark of the key away.",
        )
    ]


def test_a_program_that_forgets_the_number_is_told(site: Site) -> None:
    with pytest.raises(InvalidSubmission) as refused:
        read(site, {"taxon": "Gammaridae", "by_key": True})
    assert [each.field for each in refused.value.problems] == ["counts.Gammaridae"]


def test_a_line_that_only_says_it_was_not_keyed_says_nothing(site: Site) -> None:
    assert read(site, KEYED[0], {"taxon": "Gammaridae", "by_key": False}) == (Entry("Baetidae", count=12),)


def test_the_form_posts_the_mark_with_and_without_a_number() -> None:
    data = data_from_post(
        {
            "counts-Gammaridae-count": "3",
            "counts-Gammaridae-key": "on",
            "counts-Elmidae-key": "on",
            "other-1-name": "Salifidae",
            "other-1-range": "present",
            "other-1-key": "on",
        }
    )
    assert data["counts"] == [
        {"taxon": "Gammaridae", "recorded_as": "", "count": "3", "by_key": True},
        {"taxon": "Elmidae", "recorded_as": "", "by_key": True},
        {"taxon": "Salifidae", "recorded_as": "", "present": True, "by_key": True},
    ]


def test_the_table_shows_the_mark_and_counts_its_row_as_filled() -> None:
    table = CountTable([], [{"taxon": "Gammaridae", "by_key": True}], {})
    (row,) = table.others
    assert (row.by_key, row.is_filled, row.count) == (True, True, "")


def test_it_is_saved_and_comes_back_as_it_was(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, counts=KEYED)
    saved = Visit.objects.of_group(cast.group).get(pk=visit.pk)
    assert [each.by_key for each in saved.counts.all()] == [False, True]
    assert submission_data(saved)["counts"][1]["by_key"] is True


def test_the_sheet_and_the_review_say_it(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, counts=KEYED)
    sheet = VisitSheet(find_visit(cast.person("volunteer"), cast.group, visit.pk))
    assert [line.note for line in sheet.found] == ["", "found with the key"]
    for name, person in (("visit_detail", cast.volunteer), ("visit_review", cast.coordinator)):
        page = signed_in(person).get(address(name, cast.group, visit_id=visit.pk))
        assert text_of(page).count("found with the key") == 1


def test_a_correction_keeps_the_mark_unless_it_is_taken_away(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, counts=KEYED)
    before = submission_of(visit)
    client = signed_in(cast.coordinator)
    page = client.get(address("visit_correct", cast.group, visit_id=visit.pk)).content.decode()
    assert 'name="counts-Gammaridae-key" value="on" checked' in page
    assert 'name="counts-Baetidae-key" value="on" checked' not in page
    data = submission_data(visit)
    data["counts"][1].pop("by_key")
    after = parse_submission(data)
    assert differences(before, after) == {"counts.Gammaridae.by_key": [True, None]}
    correct_visit(person=cast.person("coordinator"), visit=visit, submission=after, reason="Another animal")
    assert not visit.counts.filter(by_key=True).exists()


def test_the_history_says_it_in_words() -> None:
    assert label_of("counts.Gammaridae.by_key") == "Gammaridae, found with the key"
    assert label_of("whole_tray.Perlidae.by_key") == "Perlidae, whole tray, found with the key"


def test_a_posted_visit_keeps_the_mark(cast: Cast) -> None:
    client = signed_in(cast.volunteer)
    site_page = address("visit_start", cast.group, site_id=cast.site.pk)
    draft_page = client.post(site_page).headers["Location"]
    answer = client.post(draft_page, post_of(data_for(cast.site, counts=KEYED)))
    assert answer.status_code == 302
    (visit,) = Visit.objects.of_group(cast.group)
    assert [each.taxon for each in visit.counts.filter(by_key=True)] == ["Gammaridae"]
