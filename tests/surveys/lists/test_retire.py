"""A group takes a list of its own out of use, once no site needs it; old visits keep it."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.http import Http404
from django.test import Client

from portal.accounts.walls import carried
from portal.audit.models import AuditEntry
from surveys.errors import NotPossible
from surveys.forms import SiteForm
from surveys.lists.lines import read_lines
from surveys.lists.recording import lists_in_use, open_sites_with, retired_lists
from surveys.models import RecordingList, Site, Visit
from surveys.services.lists import change_list, create_list, retire_list
from surveys.services.sites import save_site
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago, family_list, submit
from tests.surveys.pages import address, signed_in, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def own(cast: Cast) -> RecordingList:
    """A list of the group's own that no site uses."""
    lines = read_lines("Baetidae\nHeptageniidae\nChironomidae")
    return create_list(person=cast.person("coordinator"), group=cast.group, name="Our short list", lines=lines)


def use(cast: Cast, own: RecordingList, **fields: Any) -> Site:
    site: Site = SiteFactory(group=cast.group, code="AB7", name="Old weir", recording_list=own, **fields)
    return site


def retire(cast: Cast, own: RecordingList, role: str = "coordinator") -> None:
    retire_list(person=cast.person(role), recording_list=own)


class TestService:
    def test_it_takes_the_list_out_of_use(self, cast: Cast, own: RecordingList) -> None:
        retire(cast, own)
        assert own not in lists_in_use(cast.group)
        assert list(retired_lists(cast.group)) == [own]

    def test_it_writes_who_did_it(self, cast: Cast, own: RecordingList) -> None:
        retire(cast, own)
        entry = AuditEntry.objects.of_group(cast.group).get(verb="list.retired")
        assert (entry.actor_name, entry.changes["in_use"]) == (cast.coordinator.name, [True, False])

    def test_it_names_the_sites_that_are_recorded_on_it_and_changes_nothing(
        self, cast: Cast, own: RecordingList
    ) -> None:
        use(cast, own)
        with pytest.raises(NotPossible, match="Sites are still recorded on it: AB7 Old weir"):
            retire(cast, own)
        own.refresh_from_db()
        assert own.retired_at is None
        assert not AuditEntry.objects.of_group(cast.group).filter(verb="list.retired").exists()

    def test_it_passes_over_a_site_that_is_closed(self, cast: Cast, own: RecordingList) -> None:
        use(cast, own, closed_on=days_ago(1))
        retire(cast, own)
        assert own not in lists_in_use(cast.group)

    def test_a_site_that_closes_later_still_needs_it(self, cast: Cast, own: RecordingList) -> None:
        site = use(cast, own, closed_on=days_ago(0))
        assert list(open_sites_with(own, cast.group, days_ago(0))) == [site]

    def test_an_old_visit_keeps_its_list_and_scores(self, cast: Cast, own: RecordingList) -> None:
        site = use(cast, own)
        visit = submit(cast.person("volunteer"), site, counts={"Baetidae": 5})
        before = {each.index: each.value for each in visit.scores.all()}
        Site.objects.of_group(cast.group).filter(pk=site.pk).update(recording_list=family_list())
        retire(cast, own)
        after = Visit.objects.of_group(cast.group).get(pk=visit.pk)
        assert after.recording_list == own
        assert {each.index: each.value for each in after.scores.all()} == before

    def test_it_is_done_once(self, cast: Cast, own: RecordingList) -> None:
        retire(cast, own)
        with pytest.raises(NotPossible, match="out of use already"):
            retire(cast, own)

    def test_it_refuses_a_version_that_was_replaced(self, cast: Cast, own: RecordingList) -> None:
        change_list(
            person=cast.person("coordinator"), recording_list=own, name="New", lines=read_lines("Baetidae")
        )
        with pytest.raises(NotPossible):
            retire(cast, own)
        assert list(retired_lists(cast.group)) == []

    def test_it_is_for_coordinators_of_the_group(self, cast: Cast, own: RecordingList) -> None:
        with pytest.raises(PermissionDenied):
            retire(cast, own, "volunteer")
        with pytest.raises(Http404):
            retire(cast, own, "neighbour_coordinator")

    def test_nobody_retires_a_built_in_list(self, cast: Cast) -> None:
        with pytest.raises((PermissionDenied, Http404)):
            retire(cast, family_list())
        assert family_list().retired_at is None


class TestSites:
    def give(self, cast: Cast, site: Site, own: RecordingList, **fields: Any) -> Site:
        given = {"recording_list": own, **fields}
        return save_site(person=cast.person("coordinator"), group=cast.group, site=site, fields=given)

    def test_a_site_cannot_be_given_a_retired_list(self, cast: Cast, own: RecordingList) -> None:
        retire(cast, own)
        with pytest.raises(ValidationError, match="out of use"):
            self.give(cast, cast.site, own)

    def test_the_form_of_a_site_does_not_offer_it(self, cast: Cast, own: RecordingList) -> None:
        retire(cast, own)
        assert own.name not in str(SiteForm(group=cast.group)["recording_list"])

    def test_a_closed_site_keeps_it_when_something_else_is_changed(
        self, cast: Cast, own: RecordingList
    ) -> None:
        site = use(cast, own, closed_on=days_ago(3))
        retire(cast, own)
        assert self.give(cast, site, own, hazards="Deep silt").hazards == "Deep silt"

    def test_a_closed_site_needs_another_list_to_be_opened_again(self, cast: Cast, own: RecordingList) -> None:
        site = use(cast, own, closed_on=days_ago(3))
        retire(cast, own)
        with pytest.raises(ValidationError, match="out of use"):
            self.give(cast, site, own, closed_on=None)

    @pytest.mark.django_db(transaction=True)
    def test_a_list_is_not_retired_under_a_site_that_is_being_given_it(
        self, cast: Cast, own: RecordingList
    ) -> None:
        """Whoever comes second sees what the first has done: never a site in use on a list out of use."""
        refused: list[str] = []
        start = threading.Barrier(2)

        def at_once(action: Any) -> None:
            try:
                start.wait()
                action()
            except (NotPossible, ValidationError) as refusal:
                refused.append(str(refusal))
            finally:
                connection.close()

        actions = [lambda: retire(cast, own), lambda: self.give(cast, cast.site, own)]
        workers = [threading.Thread(target=carried(at_once), args=[action]) for action in actions]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join()
        own.refresh_from_db()
        assert len(refused) == 1
        assert (own.retired_at is None) == bool(open_sites_with(own, cast.group, days_ago(0)))


class TestPages:
    def page(self, cast: Cast, own: RecordingList, name: str = "list_retire") -> str:
        return text_of(signed_in(cast.coordinator).get(address(name, cast.group, list_id=own.pk)))

    def test_it_names_the_sites_first_and_offers_no_button(self, cast: Cast, own: RecordingList) -> None:
        use(cast, own)
        page = self.page(cast, own)
        assert "Give each of them another list first" in page
        assert "AB7 Old weir" in page
        assert "Retire the list" not in page

    def test_it_refuses_a_post_while_a_site_uses_it_and_says_which(
        self, cast: Cast, own: RecordingList
    ) -> None:
        use(cast, own)
        answer = signed_in(cast.coordinator).post(address("list_retire", cast.group, list_id=own.pk))
        assert answer.status_code == 422
        assert "Sites are still recorded on it: AB7 Old weir." in text_of(answer)

    def test_it_retires_and_leads_to_the_lists(self, cast: Cast, own: RecordingList) -> None:
        browser = signed_in(cast.coordinator)
        assert "No open site is recorded on it." in self.page(cast, own)
        answer = browser.post(address("list_retire", cast.group, list_id=own.pk), follow=True)
        page = text_of(answer)
        assert "“Our short list” is out of use. Visits made on it keep it." in page
        assert "Out of use Our short list until" in page

    def test_its_page_stays_and_says_so(self, cast: Cast, own: RecordingList) -> None:
        assert "Retire the list" in self.page(cast, own, "list_detail")
        retire(cast, own)
        page = self.page(cast, own, "list_detail")
        assert "The group retired this list on" in page
        assert "Retire the list" not in page
        assert "Change the list" not in page

    def test_an_earlier_version_of_it_points_to_the_last(self, cast: Cast, own: RecordingList) -> None:
        person = cast.person("coordinator")
        new = change_list(person=person, recording_list=own, name="New", lines=read_lines("Baetidae"))
        retire(cast, new)
        assert "Version 2 was the last" in self.page(cast, own, "list_detail")

    def test_it_offers_no_button_for_a_list_out_of_use(self, cast: Cast, own: RecordingList) -> None:
        retire(cast, own)
        assert "This version has been out of use since" in self.page(cast, own)

    def test_a_built_in_list_has_no_such_page(self, cast: Cast) -> None:
        answer = signed_in(cast.coordinator).get(address("list_retire", cast.group, list_id=family_list().pk))
        assert answer.status_code == 403

    def test_a_list_of_another_group_is_not_found(self, cast: Cast, own: RecordingList) -> None:
        browser: Client = signed_in(cast.neighbour_coordinator)
        assert browser.get(address("list_retire", cast.neighbour, list_id=own.pk)).status_code == 404
