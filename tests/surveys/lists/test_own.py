"""Lists of a group's own: written, versioned, and what they support."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.test import Client
from django.urls import reverse

from alerts.models import Trigger
from portal.audit.services import history_of
from surveys.errors import NotPossible
from surveys.lists.lines import InvalidLines, ListLine, read_lines, text_of
from surveys.lists.recording import (
    first_index,
    leading_indices,
    lists_in_use,
    reasons_of,
    support_of,
)
from surveys.models import ListTaxon, RecordingList, Visit
from surveys.services.built_in_lists import ensure_bankside_list, ensure_family_list
from surveys.services.lists import change_list, create_list
from surveys.views.shared import find_visit
from surveys.visits.sheets import score_sheet
from tests.conftest import Cast
from tests.factories import days_ago, family_list, submit

pytestmark = pytest.mark.django_db

TEXT = """Mayflies:
Heptageniidae
baetidae

Others we know:
Freshwater shrimp
Gammarus
Chironomidae"""
WITHOUT_GAMMARUS = TEXT.replace("Gammarus\n", "")


def made(cast: Cast, text: str = WITHOUT_GAMMARUS, name: str = "Our short list") -> RecordingList:
    return create_list(person=cast.person("coordinator"), group=cast.group, name=name, lines=read_lines(text))


def refused(text: str) -> tuple[str, ...]:
    with pytest.raises(InvalidLines) as refusal:
        read_lines(text)
    return refusal.value.problems


class TestLines:
    def test_it_reads_names_under_their_headings(self) -> None:
        assert read_lines(WITHOUT_GAMMARUS) == [
            ListLine("Heptageniidae", "Flat-bodied mayfly", "Mayflies"),
            ListLine("Baetidae", read_lines("Baetidae")[0].label, "Mayflies"),
            ListLine("Gammaridae", "Freshwater shrimp", "Others we know"),
            ListLine("Chironomidae", read_lines("Chironomidae")[0].label, "Others we know"),
        ]

    def test_it_refuses_a_second_name_of_one_taxon_with_both_lines(self) -> None:
        (problem,) = refused(TEXT)
        assert problem.startswith("Line 7: “Gammarus” is counted as Gammaridae")
        assert "line 6" in problem

    def test_it_suggests_a_name_and_never_takes_it(self) -> None:
        (problem,) = refused("Baetidae\nHeptagenidae")
        assert problem.startswith("Line 2:")
        assert "Did you mean Heptageniidae" in problem

    def test_it_names_every_line_that_is_wrong(self) -> None:
        assert [problem[:6] for problem in refused("xyzzy\nBaetidae\nqwert")] == ["Line 1", "Line 3"]

    @pytest.mark.parametrize("text", ["", "  \n ", "Mayflies:"])
    def test_it_needs_a_name(self, text: str) -> None:
        assert refused(text) == ("Write at least one name.",)

    def test_it_refuses_a_heading_that_is_too_long(self) -> None:
        (problem,) = refused("x" * 81 + ":\nBaetidae")
        assert "too long" in problem

    @pytest.mark.parametrize("text", [WITHOUT_GAMMARUS, "Baetidae\nmidge", "Worms:\nOligochaeta\nHirudinea"])
    def test_it_writes_a_list_so_that_it_reads_back(self, text: str) -> None:
        lines = read_lines(text)
        taxa = [ListTaxon(taxon=each.taxon, label=each.label, section=each.section) for each in lines]
        assert read_lines(text_of(taxa)) == lines

    @pytest.mark.parametrize("ensure", [ensure_family_list, ensure_bankside_list])
    def test_it_writes_the_built_in_lists_so_that_a_group_can_start_from_them(self, ensure: Any) -> None:
        taxa = list(ensure().taxa.all())
        read = read_lines(text_of(taxa))
        assert [(each.taxon, each.section) for each in read] == [(each.taxon, each.section) for each in taxa]


class TestServices:
    def test_it_makes_a_list_in_its_first_version(self, cast: Cast) -> None:
        found = made(cast)
        assert (found.slug, found.version, found.level, found.group_id) == (
            "our-short-list",
            1,
            "family",
            cast.group.pk,
        )
        assert [each.position for each in found.taxa.all()] == [1, 2, 3, 4]
        assert [entry.verb for entry in history_of(found, cast.group)] == ["list.created"]

    def test_it_knows_broad_groups_from_families(self, cast: Cast) -> None:
        assert made(cast, "Baetidae\nPlecoptera").level == "group"

    def test_it_tells_two_lists_of_one_name_apart(self, cast: Cast) -> None:
        assert [made(cast).slug, made(cast).slug, made(cast, name="?!").slug] == [
            "our-short-list",
            "our-short-list-2",
            "list",
        ]

    def test_it_moves_sites_to_the_new_version_and_leaves_visits_on_theirs(self, cast: Cast) -> None:
        old = made(cast)
        cast.site.recording_list = old
        cast.site.save()
        before = submit(cast.person("volunteer"), cast.site, counts={"Baetidae": 3})
        lines = read_lines(WITHOUT_GAMMARUS + "\nElmidae")
        new = change_list(
            person=cast.person("coordinator"), recording_list=old, name="Our longer list", lines=lines
        )
        cast.site.refresh_from_db()
        old.refresh_from_db()
        assert (new.slug, new.version, new.taxa.count()) == (old.slug, 2, 5)
        assert cast.site.recording_list == new
        assert Visit.objects.of_group(cast.group).get(pk=before.pk).recording_list == old
        assert submit(cast.person("volunteer"), cast.site, counts={"Elmidae": 3}).recording_list == new
        assert old.retired_at is not None
        (entry,) = history_of(new, cast.group)
        assert entry.changes["taxa"] == ["", "Elmidae"]
        assert entry.changes["name"] == ["Our short list", "Our longer list"]
        assert history_of(cast.site, cast.group).last().changes["recording_list"][1] == "Our longer list 2"  # type: ignore[union-attr]

    def test_it_changes_no_version_twice(self, cast: Cast) -> None:
        old, person = made(cast), cast.person("coordinator")
        change_list(person=person, recording_list=old, name="A", lines=read_lines("Baetidae"))
        with pytest.raises(NotPossible, match="in the meantime"):
            change_list(person=person, recording_list=old, name="B", lines=read_lines("Elmidae"))

    def test_it_makes_no_version_without_a_change(self, cast: Cast) -> None:
        old = made(cast)
        with pytest.raises(NotPossible, match="Nothing was changed"):
            change_list(
                person=cast.person("coordinator"),
                recording_list=old,
                name=old.name,
                lines=read_lines(WITHOUT_GAMMARUS),
            )
        assert RecordingList.objects.filter(group=cast.group).count() == 1

    def test_only_the_groups_coordinators_make_and_change_lists(self, cast: Cast) -> None:
        old, lines = made(cast), read_lines("Elmidae")
        with pytest.raises(PermissionDenied):
            create_list(person=cast.person("volunteer"), group=cast.group, name="A", lines=lines)
        with pytest.raises(PermissionDenied):
            change_list(person=cast.person("volunteer"), recording_list=old, name="A", lines=lines)
        with pytest.raises(Http404):
            change_list(person=cast.person("neighbour_coordinator"), recording_list=old, name="A", lines=lines)

    def test_no_group_is_given_the_list_of_another(self, cast: Cast) -> None:
        own = made(cast)
        assert own in lists_in_use(cast.group)
        assert own not in lists_in_use(cast.neighbour)


class TestSupport:
    def test_the_bankside_list_has_three_sensitive_and_three_tolerant_groups(self) -> None:
        found = ensure_bankside_list()
        sides = [each.section for each in found.taxa.all()]
        assert sides == ["Sensitive to pollution"] * 3 + ["Tolerant of pollution"] * 3
        assert (found.level, found.group) == ("group", None)

    def test_the_family_list_supports_every_index(self) -> None:
        supported, unsupported = support_of(family_list())
        assert (len(supported), unsupported) == (15, [])
        assert first_index(family_list()) == "bmwp"

    def test_the_bankside_list_supports_its_own_score_alone(self) -> None:
        supported, unsupported = support_of(ensure_bankside_list())
        assert [each.method.key for each in supported] == ["bankside"]
        assert all(each.why_not for each in unsupported)
        assert first_index(ensure_bankside_list()) == "bankside"
        assert leading_indices(reasons_of(ensure_bankside_list())) == ("bankside",)

    def test_it_scores_only_what_the_list_supports_and_says_why(self, cast: Cast) -> None:
        cast.site.recording_list = ensure_bankside_list()
        cast.site.save()
        visit = submit(
            cast.person("volunteer"), cast.site, counts={"Plecoptera": 12, "Chironomidae": 5, "Baetidae": 3}
        )
        scores = {each.index: each for each in visit.scores.all()}
        assert scores["bankside"].value is not None
        # A family was found beside the list, and still BMWP would read as a river without other families.
        assert scores["bmwp"].value is None
        assert scores["bmwp"].why_none.startswith("Needs finer names than")
        sheet = score_sheet(find_visit(cast.person("volunteer"), cast.group, visit.pk))
        assert [line.index for line in sheet.leading] == ["bankside"]
        assert len(sheet.unsupported) == 14


class TestPages:
    def get(self, client: Client, cast: Cast, name: str, role: str = "coordinator", **ids: Any) -> Any:
        client.force_login(getattr(cast, role))
        return client.get(reverse(name, kwargs={"slug": cast.group.slug, **ids}))

    def post(self, client: Client, cast: Cast, name: str, data: dict[str, str], **ids: Any) -> Any:
        client.force_login(cast.coordinator)
        return client.post(reverse(name, kwargs={"slug": cast.group.slug, **ids}), data)

    def test_it_lists_what_a_site_may_be_given(self, client: Client, cast: Cast) -> None:
        own = made(cast)
        page = self.get(client, cast, "list_list").content.decode()
        for each in (own, family_list(), ensure_bankside_list()):
            assert each.name in page

    def test_it_says_what_a_list_supports_and_why_not_the_rest(self, client: Client, cast: Cast) -> None:
        page = self.get(client, cast, "list_detail", "volunteer", list_id=made(cast).pk).content.decode()
        assert "fewer than half" in page
        assert "Change the list" not in page
        assert "None of our sites." in page

    def test_it_makes_a_list(self, client: Client, cast: Cast) -> None:
        answer = self.post(client, cast, "list_create", {"name": "Ours", "lines": WITHOUT_GAMMARUS})
        found = RecordingList.objects.get(group=cast.group)
        assert answer.url == reverse("list_detail", kwargs={"slug": cast.group.slug, "list_id": found.pk})

    def test_it_keeps_what_was_typed_and_names_each_line(self, client: Client, cast: Cast) -> None:
        answer = self.post(client, cast, "list_create", {"name": "Ours", "lines": "Baetidea\nElmidae"})
        page = answer.content.decode()
        assert answer.status_code == 422
        assert "Line 1:" in page
        assert "Did you mean Baetidae" in page
        assert "Baetidea\nElmidae" in page.replace("\r", "")

    def test_it_puts_a_new_version_in_the_place_of_the_old_one(self, client: Client, cast: Cast) -> None:
        old = made(cast)
        assert (
            WITHOUT_GAMMARUS.split("\n")[0]
            in self.get(client, cast, "list_edit", list_id=old.pk).content.decode()
        )
        self.post(client, cast, "list_edit", {"name": "Ours", "lines": "Baetidae"}, list_id=old.pk)
        page = self.get(client, cast, "list_detail", list_id=old.pk).content.decode()
        assert "An earlier version" in page
        assert "Version 2 is in use" in page
        again = self.post(client, cast, "list_edit", {"name": "Ours", "lines": "Elmidae"}, list_id=old.pk)
        assert again.status_code == 422

    def test_it_changes_no_built_in_list(self, client: Client, cast: Cast) -> None:
        assert self.get(client, cast, "list_edit", list_id=family_list().pk).status_code == 403

    def test_it_shows_no_list_of_another_group(self, client: Client, cast: Cast) -> None:
        client.force_login(cast.neighbour_coordinator)
        arguments = {"slug": cast.neighbour.slug, "list_id": made(cast).pk}
        assert client.get(reverse("list_detail", kwargs=arguments)).status_code == 404

    def test_it_offers_a_site_its_own_groups_lists(self, client: Client, cast: Cast) -> None:
        own = made(cast)
        old = made(cast, name="To be replaced")
        change_list(
            person=cast.person("coordinator"), recording_list=old, name="New", lines=read_lines("Elmidae")
        )
        page = self.get(client, cast, "site_create").content.decode()
        assert own.name in page
        assert ensure_bankside_list().name in page
        assert "To be replaced" not in page

    def test_the_visit_page_says_what_its_list_cannot_support(self, client: Client, cast: Cast) -> None:
        cast.site.recording_list = ensure_bankside_list()
        cast.site.save()
        visit = submit(cast.person("volunteer"), cast.site, counts={"Plecoptera": 12})
        page = self.get(client, cast, "visit_detail", visit_id=visit.pk).content.decode()
        assert "14 indices that the list cannot support" in page
        assert "Bankside" in page

    def test_a_trigger_stands_only_on_what_the_list_supports(self, client: Client, cast: Cast) -> None:
        cast.site.recording_list = ensure_bankside_list()
        cast.site.save()
        page = self.get(client, cast, "trigger_set", site_id=cast.site.pk).content.decode()
        assert 'value="bankside"' in page
        assert '<option value="bmwp"' not in page
        data = {"index": "bmwp", "level": "40", "valid_from": days_ago(0).isoformat(), "reason": "agreed"}
        answer = self.post(client, cast, "trigger_set", data, site_id=cast.site.pk)
        assert answer.status_code == 422
        assert "Needs finer names than" in answer.content.decode()
        assert not Trigger.objects.of_group(cast.group).exists()
