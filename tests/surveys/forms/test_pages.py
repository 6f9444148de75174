"""The visit form on its pages: kept while typed, stopped at the field, sent in once, mended when returned."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any
from uuid import uuid4

import pytest
from django.conf import LazySettings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from surveys.models import Draft, Photo, Visit
from surveys.services.drafts import start_visit
from surveys.services.review import approve_visit, return_visit
from tests.conftest import Cast
from tests.factories import MembershipFactory, data_for, submit
from tests.surveys.pages import address, picture, post_of, signed_in, text_of

QueryCeiling = Callable[..., AbstractContextManager[Any]]
FORM_QUERIES = 10


@pytest.fixture
def draft(cast: Cast) -> Draft:
    return start_visit(person=cast.person("volunteer"), site=cast.site)


@pytest.fixture
def form(cast: Cast, draft: Draft) -> str:
    return address("visit_submit", cast.group, draft_id=draft.pk)


@pytest.fixture
def client(cast: Cast) -> Client:
    return signed_in(cast.volunteer)


def stored(draft: Draft) -> Any:
    return Draft.objects.of_group(draft.group).get(pk=draft.pk).data


def visit_of(draft: Draft) -> Visit:
    return Visit.objects.of_group(draft.group).get(pk=draft.pk)


class TestStart:
    def test_it_gives_the_visit_its_number_and_leads_to_the_form(self, cast: Cast, client: Client) -> None:
        answer: Any = client.post(address("visit_start", cast.group, site_id=cast.site.pk))
        begun = Draft.objects.of_group(cast.group).get()
        assert answer.url == address("visit_submit", cast.group, draft_id=begun.pk)

    def test_it_starts_nothing_at_a_site_of_another_group(self, cast: Cast, client: Client) -> None:
        assert (
            client.post(address("visit_start", cast.group, site_id=cast.neighbour_site.pk)).status_code == 404
        )
        assert not Draft.objects.of_group(cast.group).exists()


class TestShow:
    def test_it_shows_plan_hazards_and_cautions_before_the_fields(
        self, cast: Cast, form: str, client: Client
    ) -> None:
        cast.site.hazards = "Deep pool on the left"
        cast.site.save()
        page = text_of(client.get(form))
        for words in (
            "3 spots, 3 kicks of 10 s at each: 90 s in all",
            "Deep pool on the left",
            "If in doubt, stay out",
        ):
            assert page.index(words) < page.index("Was the sample taken?")

    def test_it_starts_with_oneself_and_the_planned_kicks_but_no_seconds(
        self, cast: Cast, form: str, client: Client
    ) -> None:
        entry = client.get(form).context["entry"]
        assert entry.form["recorder"].value() == str(cast.volunteer.pk)
        assert [entry.form[f"spots-{number}-kicks"].value() for number in (1, 2, 3)] == ["3", "3", "3"]
        assert not entry.form["spots-1-seconds"].value()

    def test_it_offers_members_of_the_group_only_as_recorder(
        self, cast: Cast, form: str, client: Client
    ) -> None:
        page = client.get(form).content.decode()
        assert "Owen Example" in page
        assert "Noel Example" not in page

    def test_it_shows_every_taxon_of_the_sites_list(self, cast: Cast, form: str, client: Client) -> None:
        page = client.get(form).content.decode()
        for taxon in cast.site.recording_list.taxa.all():
            assert f'name="counts-{taxon.taxon}-count"' in page

    def test_it_is_ones_own(self, cast: Cast, form: str) -> None:
        assert signed_in(cast.other_volunteer).get(form).status_code == 403
        assert signed_in(cast.coordinator).get(form).status_code == 403
        assert signed_in(cast.neighbour_volunteer).get(form).status_code == 404

    def test_it_asks_the_database_a_fixed_number_of_times(
        self, cast: Cast, form: str, client: Client, django_assert_max_num_queries: QueryCeiling
    ) -> None:
        client.post(form, post_of(data_for(cast.site)) | {"keep": "1"})
        with django_assert_max_num_queries(FORM_QUERIES):
            client.get(form)


class TestKeep:
    def test_it_keeps_everything_as_typed_faults_and_all(self, draft: Draft, form: str, client: Client) -> None:
        typed = {
            "visited_on": "2026-05-03",
            "measurements-ph-value": "about 7",
            "counts-Baetidae-count": "many",
            "counts-Elmidae-none": "on",
            "other-1-name": "Hydra",
            "notes": "half done",
            "keep": "1",
        }
        assert client.post(form, typed).status_code == 302
        page = client.get(form).content.decode()
        for words in ("2026-05-03", "about 7", "many", "Hydra", "half done"):
            assert words in page
        assert stored(draft)["counts"][1] == {"taxon": "Elmidae", "recorded_as": "", "count": "0"}

    def test_it_saves_by_itself_and_says_when(self, cast: Cast, draft: Draft, client: Client) -> None:
        place = address("draft_save", cast.group, draft_id=draft.pk)
        answer: Any = client.post(place, {"visited_on": "2026-05-03", "notes": "so far"})
        assert len(answer.json()["saved_at"]) == 5
        assert stored(draft)["notes"] == "so far"

    def test_it_brings_no_draft_back_to_life_after_the_visit_is_in(
        self, cast: Cast, draft: Draft, client: Client
    ) -> None:
        client.post(address("visit_submit", cast.group, draft_id=draft.pk), post_of(data_for(cast.site)))
        late = client.post(address("draft_save", cast.group, draft_id=draft.pk), {"notes": "late"})
        assert late.status_code == 404
        assert not Draft.objects.of_group(cast.group).exists()

    def test_it_saves_nothing_into_somebody_elses_draft(self, cast: Cast, draft: Draft) -> None:
        place = address("draft_save", cast.group, draft_id=draft.pk)
        assert signed_in(cast.other_volunteer).post(place, {"notes": "mine"}).status_code == 403
        assert "notes" not in stored(draft)

    def test_it_throws_a_draft_away_with_its_pictures(self, cast: Cast, draft: Draft, client: Client) -> None:
        client.post(address("photo_add", cast.group, draft_id=draft.pk), {"photo": picture()})
        answer: Any = client.post(address("draft_discard", cast.group, draft_id=draft.pk))
        assert answer.url == address("site_detail", cast.group, site_id=cast.site.pk)
        assert not Draft.objects.of_group(cast.group).exists()
        assert not Photo.objects.of_group(cast.group).exists()


class TestSubmit:
    def test_it_takes_the_visit_under_the_drafts_number_and_says_what_it_meant(
        self, cast: Cast, draft: Draft, form: str, client: Client
    ) -> None:
        answer: Any = client.post(form, post_of(data_for(cast.site)), follow=True)
        page = text_of(answer)
        assert visit_of(draft).visited_on
        assert "Thank you: Your visit has arrived" in page
        assert "provisional, not yet checked" in page
        assert "BMWP 48 Scoring taxa 7 ASPT 6.86" in page
        assert "That does not mean the river is clean." in page

    def test_it_stops_at_the_field_keeps_everything_and_opens_its_section(
        self, cast: Cast, draft: Draft, form: str, client: Client
    ) -> None:
        data = data_for(cast.site, counts={"Sericostomatidae": "a few"}, notes="Saw a dipper")
        answer: Any = client.post(form, post_of(data) | {"measurements-ph-value": "77"})
        page = answer.content.decode()
        assert answer.status_code == 422
        assert 'href="#id_counts-' in page
        assert "Saw a dipper" in page
        sections = answer.context["entry"].counts.sections
        row = next(row for section in sections for row in section.rows if row.taxon == "Sericostomatidae")
        assert (row.count, row.errors) == ("a few", ("Write a whole number, such as 12.",))
        assert next(section for section in sections if row in section.rows).is_open
        assert stored(draft)["notes"] == "Saw a dipper"

    def test_it_tells_a_date_to_come_at_the_date(self, cast: Cast, form: str, client: Client) -> None:
        answer: Any = client.post(form, post_of(data_for(cast.site, visited_on="2099-01-01")))
        assert answer.status_code == 422
        assert list(answer.context["entry"].form["visited_on"].errors)
        assert answer.context["entry"].mistakes[0].target == "id_visited_on"

    def test_it_answers_a_resend_with_the_first_result(
        self, cast: Cast, draft: Draft, form: str, client: Client
    ) -> None:
        first: Any = client.post(form, post_of(data_for(cast.site, notes="first")))
        again: Any = client.post(form, post_of(data_for(cast.site, notes="second")))
        assert again.url == first.url.removesuffix("?sent=1")
        assert visit_of(draft).notes == "first"
        assert client.get(form)["Location"] == again.url

    def test_it_takes_a_visit_that_could_not_be_made_with_its_reason(
        self, cast: Cast, draft: Draft, form: str, client: Client
    ) -> None:
        typed = {
            "was_made": "no",
            "not_made_reason": "too_high",
            "visited_on": data_for(cast.site)["visited_on"],
        }
        page = text_of(client.post(form, typed, follow=True))
        assert visit_of(draft).was_made is False
        assert "river too high or bed not visible" in page
        assert "no report will read it as a clean one" in page

    def test_it_asks_for_the_reason_of_a_visit_not_made(self, cast: Cast, form: str, client: Client) -> None:
        answer: Any = client.post(form, {"was_made": "no", "visited_on": data_for(cast.site)["visited_on"]})
        assert answer.status_code == 422
        assert list(answer.context["entry"].form["not_made_reason"].errors)

    def test_it_says_at_the_part_what_a_visit_not_made_cannot_hold(
        self, cast: Cast, form: str, client: Client
    ) -> None:
        typed = post_of(data_for(cast.site)) | {"was_made": "no", "not_made_reason": "dry"}
        answer: Any = client.post(form, typed)
        assert answer.status_code == 422
        assert set(answer.context["entry"].section_mistakes) == {"effort", "measurements", "counts"}
        assert "data-keep-open" in answer.content.decode()

    def test_it_stores_a_picture_that_was_chosen_but_not_yet_added(
        self, cast: Cast, draft: Draft, form: str, client: Client
    ) -> None:
        client.post(form, {**post_of(data_for(cast.site)), "photo": picture(), "caption": "Outfall"})
        assert Photo.objects.of_group(cast.group).get(visit_number=draft.pk).caption == "Outfall"
        assert visit_of(draft)

    def test_it_sends_nothing_in_while_a_picture_cannot_be_read(
        self, cast: Cast, draft: Draft, form: str, client: Client
    ) -> None:
        broken = SimpleUploadedFile("bank.jpg", b"no picture at all", "image/jpeg")
        answer: Any = client.post(form, {**post_of(data_for(cast.site)), "photo": broken})
        assert answer.status_code == 422
        assert "no photo we can read" in text_of(answer)
        # The picture stands far below what is seen of the page that comes back.
        assert [mistake.target for mistake in answer.context["entry"].mistakes] == ["photo"]
        assert not Visit.objects.of_group(cast.group).exists()

    def test_it_marks_findings_and_asks_nothing_more_of_the_volunteer(
        self, cast: Cast, form: str, client: Client
    ) -> None:
        data = data_for(cast.site, measurements={"ph": {"value": "9.4"}})
        page = text_of(client.post(form, post_of(data), follow=True))
        assert "You need not do anything" in page
        assert "9.4 is unusual" in page


class TestPhotos:
    def add(self, cast: Cast, draft: Draft, client: Client, **fields: Any) -> Any:
        return client.post(address("photo_add", cast.group, draft_id=draft.pk), fields)

    def test_it_stores_a_picture_at_once_and_what_was_typed_with_it(
        self, cast: Cast, draft: Draft, client: Client
    ) -> None:
        answer = self.add(
            cast, draft, client, photo=picture(), caption="Outfall", visited_on="2026-05-03", notes="x"
        )
        assert answer.url == address("visit_submit", cast.group, draft_id=draft.pk) + "#photos"
        assert Photo.objects.of_group(cast.group).get().caption == "Outfall"
        assert stored(draft)["notes"] == "x"

    def test_it_says_at_the_field_when_no_picture_was_chosen(
        self, cast: Cast, draft: Draft, client: Client
    ) -> None:
        answer = self.add(cast, draft, client, visited_on="2026-05-03", notes="still here")
        assert answer.status_code == 422
        assert "Choose a picture first." in text_of(answer)
        assert "still here" in answer.content.decode()

    def test_it_answers_the_pages_script_with_the_list_alone(
        self, cast: Cast, draft: Draft, client: Client
    ) -> None:
        place = address("photo_add", cast.group, draft_id=draft.pk)
        answer: Any = client.post(place, {"photo": picture()}, headers={"X-Photo-List": "1"})
        assert answer.status_code == 200
        assert answer.content.decode().lstrip().startswith('<div id="photo-list">')

    def test_it_serves_a_picture_to_members_only_and_never_as_a_page(
        self, cast: Cast, draft: Draft, client: Client
    ) -> None:
        self.add(cast, draft, client, photo=picture("page.html"))
        place = address("photo_file", cast.group, photo_id=Photo.objects.of_group(cast.group).get().pk)
        answer: Any = signed_in(cast.other_volunteer).get(place)
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
        assert b"".join(answer.streaming_content)[:2] == b"\xff\xd8"
        assert signed_in(cast.neighbour_volunteer).get(place).status_code == 404
        assert Client().get(place).status_code == 302

    def test_it_serves_no_picture_under_the_persons_other_group(
        self, cast: Cast, draft: Draft, client: Client
    ) -> None:
        MembershipFactory(group=cast.neighbour, user=cast.volunteer)
        self.add(cast, draft, client, photo=picture())
        photo = Photo.objects.of_group(cast.group).get()
        assert client.get(address("photo_file", cast.neighbour, photo_id=photo.pk)).status_code == 404

    def test_it_removes_a_picture_and_keeps_what_was_typed(
        self, cast: Cast, draft: Draft, client: Client
    ) -> None:
        self.add(cast, draft, client, photo=picture())
        place = address("photo_remove", cast.group, photo_id=Photo.objects.of_group(cast.group).get().pk)
        assert signed_in(cast.other_volunteer).post(place).status_code == 403
        assert client.post(place, {"visited_on": "2026-05-03", "notes": "typed"}).status_code == 302
        assert not Photo.objects.of_group(cast.group).exists()
        assert stored(draft)["notes"] == "typed"


class TestMend:
    @pytest.fixture
    def returned(self, cast: Cast) -> Visit:
        visit = submit(cast.person("volunteer"), cast.site, counts={"Baetidae": 900})
        return_visit(person=cast.person("coordinator"), visit=visit, message="Are you sure of 900?")
        return visit

    def mend(self, cast: Cast, visit: Visit) -> str:
        return address("visit_mend", cast.group, visit_id=visit.pk)

    def test_it_shows_the_message_and_what_was_recorded(
        self, cast: Cast, returned: Visit, client: Client
    ) -> None:
        page = client.get(self.mend(cast, returned))
        assert "Are you sure of 900?" in text_of(page)
        assert 'value="900"' in page.content.decode()

    def test_it_sends_the_mended_visit_to_be_checked_again(
        self, cast: Cast, returned: Visit, client: Client
    ) -> None:
        data = data_for(cast.site, counts={"Baetidae": 90})
        answer: Any = client.post(self.mend(cast, returned), post_of(data), follow=True)
        returned.refresh_from_db()
        assert returned.status == "waiting"
        assert "was 900 90" in text_of(answer)

    def test_it_stops_at_the_field_and_keeps_everything(
        self, cast: Cast, returned: Visit, client: Client
    ) -> None:
        data = data_for(cast.site, counts={"Baetidae": "90?"}, notes="Counted again")
        answer: Any = client.post(self.mend(cast, returned), post_of(data))
        assert answer.status_code == 422
        assert "Counted again" in answer.content.decode()
        assert "Baetidae – Write a whole number" in text_of(answer).replace(":", " –")

    def test_it_is_for_the_recorder_and_only_until_it_is_approved(
        self, cast: Cast, returned: Visit, client: Client
    ) -> None:
        assert signed_in(cast.other_volunteer).get(self.mend(cast, returned)).status_code == 403
        waiting = submit(cast.person("volunteer"), cast.site, id=str(uuid4()), visited_on="2026-01-05")
        here = address("visit_detail", cast.group, visit_id=waiting.pk)
        assert self.mend(cast, waiting) in client.get(here).content.decode()
        assert "Not yet checked" in text_of(client.get(self.mend(cast, waiting)))
        approve_visit(person=cast.person("coordinator"), visit=waiting, accept_findings_reason="Fine.")
        answer: Any = client.get(self.mend(cast, waiting))
        assert answer.url == here
        assert self.mend(cast, waiting) not in client.get(here).content.decode()

    def test_it_says_that_nothing_was_changed(self, cast: Cast, client: Client) -> None:
        data = data_for(cast.site, id=str(uuid4()), visited_on="2026-01-05")
        waiting = submit(cast.person("volunteer"), cast.site, id=data["id"], visited_on="2026-01-05")
        answer: Any = client.post(self.mend(cast, waiting), post_of(data), follow=True)
        assert "Nothing was changed" in text_of(answer)


@pytest.fixture(autouse=True)
def _media(settings: LazySettings, tmp_path: Any) -> None:
    settings.MEDIA_ROOT = tmp_path
