"""Drafts: kept as typed, by their author alone."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404

from portal.audit.services import history_of
from surveys.errors import Conflict, NotPossible
from surveys.models import Draft, Photo
from surveys.queries import own_drafts
from surveys.services.drafts import discard_draft, save_draft, start_visit
from tests.conftest import Cast
from tests.factories import MembershipFactory, SiteFactory, submit


def test_it_starts_a_visit_under_a_new_number(cast: Cast) -> None:
    draft = start_visit(person=cast.person("volunteer"), site=cast.site)
    again = start_visit(person=cast.person("volunteer"), site=cast.site)
    assert draft.pk != again.pk
    assert (draft.group, draft.site, draft.entered_by) == (cast.group, cast.site, cast.volunteer)
    assert history_of(draft, cast.group).get().verb == "draft.started"


def test_it_shows_no_site_of_another_group(cast: Cast) -> None:
    with pytest.raises(Http404):
        start_visit(person=cast.person("volunteer"), site=cast.neighbour_site)


def test_it_keeps_faults_and_all(cast: Cast) -> None:
    number, data = uuid4(), {"visited_on": "tomorrow", "counts": [{"taxon": "Xyzzy", "count": "lots"}]}
    save_draft(person=cast.person("volunteer"), site=cast.site, number=number, data=data)
    assert Draft.objects.of_group(cast.group).get(pk=number).data == data


def test_it_saves_over_its_own_draft(cast: Cast) -> None:
    person = cast.person("volunteer")
    draft = start_visit(person=person, site=cast.site)
    save_draft(person=person, site=cast.site, number=draft.pk, data={"notes": "one"})
    saved = save_draft(person=person, site=cast.site, number=draft.pk, data={"notes": "two"})
    assert saved.pk == draft.pk
    draft.refresh_from_db()
    assert draft.data == {"notes": "two"}


@pytest.mark.parametrize("role", ["other_volunteer", "coordinator", "neighbour_volunteer"])
def test_it_never_touches_somebody_elses_draft(cast: Cast, role: str) -> None:
    draft = start_visit(person=cast.person("volunteer"), site=cast.site)
    site = cast.neighbour_site if role.startswith("neighbour") else cast.site
    with pytest.raises(Conflict):
        save_draft(person=cast.person(role), site=site, number=draft.pk, data={"notes": "mine now"})
    draft.refresh_from_db()
    assert (draft.entered_by, draft.data) == (cast.volunteer, {"site": str(cast.site.pk)})


def test_it_does_not_carry_a_draft_into_another_group(cast: Cast) -> None:
    MembershipFactory(group=cast.neighbour, user=cast.volunteer)
    person = cast.person("volunteer")
    draft = start_visit(person=person, site=cast.site)
    with pytest.raises(Conflict):
        save_draft(person=person, site=cast.neighbour_site, number=draft.pk, data={})
    draft.refresh_from_db()
    assert (draft.group, draft.site) == (cast.group, cast.site)


def test_it_carries_a_draft_to_another_site_of_its_group(cast: Cast) -> None:
    person = cast.person("volunteer")
    draft = start_visit(person=person, site=cast.site)
    right = SiteFactory(group=cast.group, code="AB2")
    assert save_draft(person=person, site=right, number=draft.pk, data={}).site == right


def test_it_lets_whoever_has_left_save_no_more(cast: Cast) -> None:
    draft = start_visit(person=cast.person("volunteer"), site=cast.site)
    cast.volunteer.memberships.update(left_at="2026-01-01T00:00Z")
    with pytest.raises(Http404):
        save_draft(person=cast.person("volunteer"), site=cast.site, number=draft.pk, data={})


def test_it_does_not_bring_a_submitted_visit_back_as_a_draft(cast: Cast) -> None:
    person = cast.person("volunteer")
    visit = submit(person, cast.site)
    with pytest.raises(NotPossible, match="submitted already"):
        save_draft(person=person, site=cast.site, number=visit.pk, data={})
    assert not Draft.objects.of_group(cast.group).exists()


def test_it_keeps_text_that_the_database_could_not(cast: Cast) -> None:
    odd = {"notes": "a\x00b\ud800c", "counts": [{"taxon\x00": "é"}], "was_made": True}
    draft = save_draft(person=cast.person("volunteer"), site=cast.site, number=uuid4(), data=odd)
    draft.refresh_from_db()
    assert draft.data == {"notes": "abc", "counts": [{"taxon": "é"}], "was_made": True}


def test_it_discards_a_draft_with_its_photos(cast: Cast) -> None:
    draft = start_visit(person=cast.person("volunteer"), site=cast.site)
    Photo.objects.create(group=cast.group, visit_number=draft.pk, file="photos/one.jpg")
    Photo.objects.create(group=cast.group, visit_number=uuid4(), file="photos/two.jpg")
    number = draft.pk
    discard_draft(person=cast.person("volunteer"), draft=draft)
    assert not Draft.objects.of_group(cast.group).filter(pk=number).exists()
    assert [photo.file.name for photo in Photo.objects.of_group(cast.group)] == ["photos/two.jpg"]


@pytest.mark.parametrize("role", ["other_volunteer", "coordinator"])
def test_it_lets_only_the_author_discard(cast: Cast, role: str) -> None:
    draft = start_visit(person=cast.person("volunteer"), site=cast.site)
    with pytest.raises(PermissionDenied):
        discard_draft(person=cast.person(role), draft=draft)


def test_it_lists_only_ones_own_drafts_last_touched_first(cast: Cast) -> None:
    person = cast.person("volunteer")
    first, second = start_visit(person=person, site=cast.site), start_visit(person=person, site=cast.site)
    start_visit(person=cast.person("other_volunteer"), site=cast.site)
    save_draft(person=person, site=cast.site, number=first.pk, data={"notes": "touched"})
    assert list(own_drafts(person)) == [first, second]


def test_it_does_not_list_a_draft_whose_visit_is_in(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    Draft.objects.create(id=visit.pk, group=cast.group, site=cast.site, entered_by=cast.volunteer)
    assert not own_drafts(cast.person("volunteer")).exists()


def test_it_lists_no_drafts_of_a_group_one_has_left(cast: Cast) -> None:
    start_visit(person=cast.person("volunteer"), site=cast.site)
    cast.volunteer.memberships.update(left_at="2026-01-01T00:00Z")
    assert not own_drafts(cast.person("volunteer")).exists()
