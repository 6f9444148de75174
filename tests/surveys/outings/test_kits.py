"""Kits: where they were last, how they were cleaned since, and the warning when they change water uncleaned."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from portal.audit.services import history_of
from surveys.errors import NotPossible
from surveys.models import Kit, KitCleaning, Site, Visit
from surveys.models.outings import CleaningMethod
from surveys.outings.kits import KitState, KitUse, history_of_kit, kit_states, kits_of, same_water
from surveys.services.kits import clean_kit, save_kit
from surveys.submission import InvalidSubmission
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago, submit
from tests.surveys.pages import address, post_of, signed_in, text_of

pytestmark = pytest.mark.django_db
DAY = date(2026, 5, 20)


@pytest.fixture
def kit(cast: Cast) -> Kit:
    return save_kit(person=cast.person("coordinator"), group=cast.group, kit=None, name="Red bag")


@pytest.fixture
def far_site(cast: Cast) -> Site:
    """A site of the same group on another river."""
    return SiteFactory(group=cast.group, code="MW1", river="Mallow Water")


def use(cast: Cast, kit: Kit, site: Site, days: int, **changes: Any) -> Visit:
    return submit(
        cast.person("volunteer"), site, visited_on=days_ago(days).isoformat(), kit=str(kit.pk), **changes
    )


def state(cast: Cast, kit: Kit, day: date | None = None) -> KitState:
    (found,) = kit_states(cast.group, [kit], day or days_ago(0), 5)
    return found


def kit_findings(visit: Visit) -> list[str]:
    return [each.message for each in visit.findings.all() if each.rule == "kit_uncleaned"]


def bare(method: str | None, *, used: date = DAY, cleaned: date = DAY, drying_days: int = 5) -> KitState:
    """A state without a database: used, and perhaps cleaned."""
    site = Site(code="AB1", river="Alder Beck")
    cleanings = (KitCleaning(method=method, cleaned_on=cleaned),) if method else ()
    return KitState(Kit(name="Red bag"), KitUse(site, used), cleanings, drying_days)


class TestWaters:
    @pytest.mark.parametrize(
        ("one", "other", "same"),
        [
            (("Alder Beck", ""), ("alder beck ", ""), True),
            (("Alder Beck", ""), ("Mallow Water", ""), False),
            (("Alder Beck", "Vale"), ("Mallow Water", "Vale"), True),
            (("Mill Brook", "Vale"), ("Mill Brook", "Fell"), False),
            (("Mill Brook", "Vale"), ("Mill Brook", ""), True),
            (("Alder Beck", "Vale"), ("Mallow Water", ""), False),
        ],
    )
    def test_it_goes_by_the_catchment_and_else_by_the_river(
        self, one: tuple[str, str], other: tuple[str, str], same: bool
    ) -> None:
        first, second = (Site(river=river, catchment=catchment) for river, catchment in (one, other))
        assert same_water(first, second) is same
        assert same_water(second, first) is same


class TestCleanness:
    @pytest.mark.parametrize("method", ["hot_water", "disinfected"])
    def test_it_is_clean_at_once_after_hot_water_or_disinfectant(self, method: str) -> None:
        assert bare(method).is_clean(DAY)

    def test_a_rinse_alone_cleans_nothing(self) -> None:
        assert not bare("rinsed").is_clean(DAY + timedelta(days=60))

    @pytest.mark.parametrize(("days", "clean"), [(0, False), (4, False), (5, True), (30, True)])
    def test_it_dries_for_the_days_of_the_group(self, days: int, clean: bool) -> None:
        assert bare("dried").is_clean(DAY + timedelta(days=days)) is clean

    def test_the_days_are_the_groups_to_set(self) -> None:
        assert bare("dried", drying_days=2).is_clean(DAY + timedelta(days=2))

    def test_a_cleaning_before_the_last_use_is_worth_nothing(self) -> None:
        assert not bare("hot_water", used=DAY, cleaned=DAY - timedelta(days=1)).is_clean(DAY)

    def test_it_is_not_clean_before_it_was_cleaned(self) -> None:
        assert not bare("hot_water", cleaned=DAY + timedelta(days=2)).is_clean(DAY + timedelta(days=1))

    def test_every_method_is_either_worth_something_or_said_to_be_worth_nothing(self) -> None:
        later = DAY + timedelta(days=60)
        worth = {method for method in CleaningMethod.values if bare(method).is_clean(later)}
        assert worth == set(CleaningMethod.values) - {"rinsed"}


class TestTheWarning:
    def test_it_names_kit_water_site_and_day(self) -> None:
        words = bare(None).warning(Site(river="Mallow Water"), DAY)
        for each in ("Red bag", "Alder Beck", "AB1", "20 May 2026", "5 days"):
            assert each in words

    def test_none_within_one_water(self) -> None:
        assert bare(None).warning(Site(river="Alder Beck"), DAY) == ""

    def test_none_once_it_is_clean(self) -> None:
        assert bare("hot_water").warning(Site(river="Mallow Water"), DAY) == ""

    def test_none_for_a_new_kit(self) -> None:
        assert KitState(Kit(name="New")).warning(Site(river="Mallow Water"), DAY) == ""


class TestUse:
    def test_a_visit_moves_the_kit(self, cast: Cast, kit: Kit, far_site: Site) -> None:
        use(cast, kit, cast.site, 30)
        use(cast, kit, far_site, 10)
        found = state(cast, kit).last_use
        assert found == KitUse(far_site, days_ago(10))

    def test_a_visit_that_was_not_made_leaves_it_where_it_was(
        self, cast: Cast, kit: Kit, far_site: Site
    ) -> None:
        use(cast, kit, cast.site, 30)
        nothing = {
            "was_made": False,
            "not_made_reason": "too_high",
            "spots": [],
            "counts": [],
            "measurements": {},
        }
        use(cast, kit, far_site, 10, **nothing)
        last = state(cast, kit).last_use
        assert last is not None
        assert last.site == cast.site

    def test_it_knows_where_it_was_on_an_earlier_day(self, cast: Cast, kit: Kit, far_site: Site) -> None:
        use(cast, kit, cast.site, 30)
        use(cast, kit, far_site, 10)
        assert state(cast, kit, days_ago(20)).last_use == KitUse(cast.site, days_ago(30))

    def test_it_finds_a_kit_that_changed_water_uncleaned(self, cast: Cast, kit: Kit, far_site: Site) -> None:
        assert kit_findings(use(cast, kit, cast.site, 30)) == []
        (words,) = kit_findings(use(cast, kit, far_site, 10))
        assert "Alder Beck" in words

    def test_it_finds_nothing_after_a_cleaning(self, cast: Cast, kit: Kit, far_site: Site) -> None:
        use(cast, kit, cast.site, 30)
        clean_kit(person=cast.person("volunteer"), kit=kit, method="dried", cleaned_on=days_ago(29))
        assert kit_findings(use(cast, kit, far_site, 10)) == []

    def test_it_finds_a_kit_that_had_too_little_time_to_dry(self, cast: Cast, kit: Kit, far_site: Site) -> None:
        use(cast, kit, cast.site, 30)
        clean_kit(person=cast.person("volunteer"), kit=kit, method="dried", cleaned_on=days_ago(29))
        assert len(kit_findings(use(cast, kit, far_site, 26))) == 1

    def test_it_finds_two_waters_on_one_day(self, cast: Cast, kit: Kit, far_site: Site) -> None:
        use(cast, kit, cast.site, 3)
        assert len(kit_findings(use(cast, kit, far_site, 3))) == 1

    def test_a_visit_does_not_count_as_its_own_last_use(self, cast: Cast, kit: Kit, far_site: Site) -> None:
        visit = use(cast, kit, far_site, 3)
        assert kit_states(cast.group, [kit], days_ago(3), 5, besides=visit.pk)[0].last_use is None

    def test_a_kit_of_another_group_is_refused_at_its_field(self, cast: Cast) -> None:
        other = save_kit(
            person=cast.person("neighbour_coordinator"), group=cast.neighbour, kit=None, name="Theirs"
        )
        with pytest.raises(InvalidSubmission) as refusal:
            use(cast, other, cast.site, 3)
        assert [(each.field, each.rule) for each in refusal.value.problems] == [("kit", "unknown_kit")]


class TestNaming:
    def test_a_volunteer_may_not_add_one(self, cast: Cast) -> None:
        with pytest.raises(PermissionDenied):
            save_kit(person=cast.person("volunteer"), group=cast.group, kit=None, name="Mine")

    def test_a_name_is_given_once_whatever_its_case(self, cast: Cast, kit: Kit) -> None:
        with pytest.raises(NotPossible) as refusal:
            save_kit(person=cast.person("coordinator"), group=cast.group, kit=None, name="RED BAG")
        assert refusal.value.field == "name"
        with pytest.raises(IntegrityError), transaction.atomic():
            Kit.objects.create(group=cast.group, name="red BAG")

    def test_a_neighbour_may_use_the_same_name(self, cast: Cast, kit: Kit) -> None:
        who = cast.person("neighbour_coordinator")
        assert save_kit(person=who, group=cast.neighbour, kit=None, name="Red bag").pk != kit.pk

    def test_a_kit_that_is_saved_again_stays_retired_since_the_first_time(self, cast: Cast, kit: Kit) -> None:
        who = cast.person("coordinator")
        retired = save_kit(person=who, group=cast.group, kit=kit, name="Red bag", is_retired=True)
        since = retired.retired_at
        again = save_kit(person=who, group=cast.group, kit=retired, name="Old red bag", is_retired=True)
        assert again.retired_at == since
        assert since is not None

    def test_a_retired_kit_is_offered_no_more_and_comes_back(self, cast: Cast, kit: Kit) -> None:
        who = cast.person("coordinator")
        save_kit(person=who, group=cast.group, kit=kit, name="Red bag", is_retired=True)
        assert list(kits_of(cast.group)) == []
        save_kit(person=who, group=cast.group, kit=kit, name="Red bag")
        assert list(kits_of(cast.group)) == [kit]

    def test_each_change_leaves_its_trace_and_no_change_none(self, cast: Cast, kit: Kit) -> None:
        who = cast.person("coordinator")
        save_kit(person=who, group=cast.group, kit=kit, name="Red bag", holds="Net, trays")
        save_kit(person=who, group=cast.group, kit=kit, name="Red bag", holds="Net, trays")
        clean_kit(person=cast.person("volunteer"), kit=kit, method="hot_water", note=" twice ")
        verbs = [entry.verb for entry in history_of(kit, cast.group)]
        assert verbs == ["kit.added", "kit.changed", "kit.cleaned"]


class TestCleaning:
    def test_a_day_to_come_is_refused_at_its_field(self, cast: Cast, kit: Kit) -> None:
        with pytest.raises(NotPossible) as refusal:
            clean_kit(person=cast.person("volunteer"), kit=kit, method="dried", cleaned_on=days_ago(-1))
        assert refusal.value.field == "cleaned_on"
        assert not KitCleaning.objects.of_group(cast.group).exists()

    def test_the_history_tells_uses_and_cleanings_newest_first(
        self, cast: Cast, kit: Kit, far_site: Site
    ) -> None:
        use(cast, kit, cast.site, 30)
        clean_kit(person=cast.person("volunteer"), kit=kit, method="hot_water", cleaned_on=days_ago(30))
        use(cast, kit, far_site, 10)
        kinds = [("visit" if each.visit else "cleaning", each.on) for each in history_of_kit(kit)]
        assert kinds == [("visit", days_ago(10)), ("cleaning", days_ago(30)), ("visit", days_ago(30))]


class TestPages:
    def test_the_list_says_which_kit_to_clean_first(self, cast: Cast, kit: Kit) -> None:
        use(cast, kit, cast.site, 3)
        client = signed_in(cast.volunteer)
        assert "clean it first" in text_of(client.get(address("kit_list", cast.group)))
        clean_kit(person=cast.person("volunteer"), kit=kit, method="hot_water")
        assert "may go" in text_of(client.get(address("kit_list", cast.group)))

    def test_a_volunteer_writes_down_a_cleaning(self, cast: Cast, kit: Kit) -> None:
        url = address("kit_clean", cast.group, kit_id=kit.pk)
        form = {"method": "dried", "cleaned_on": days_ago(1).isoformat(), "note": "in the shed"}
        answer = signed_in(cast.volunteer).post(url, form, follow=True)
        assert "in the shed" in text_of(answer)
        assert KitCleaning.objects.of_group(cast.group).get().cleaned_by == cast.volunteer

    @pytest.mark.parametrize(
        ("form", "words"),
        [
            ({"method": "", "cleaned_on": "2026-05-01"}, "required"),
            ({"method": "dried", "cleaned_on": "2999-05-01"}, "still to come"),
        ],
    )
    def test_it_says_what_is_wrong_with_a_cleaning(
        self, cast: Cast, kit: Kit, form: dict[str, str], words: str
    ) -> None:
        answer = signed_in(cast.volunteer).post(address("kit_clean", cast.group, kit_id=kit.pk), form)
        assert answer.status_code == 422
        assert words in text_of(answer)

    def test_a_coordinator_adds_and_retires_a_kit(self, cast: Cast) -> None:
        client = signed_in(cast.coordinator)
        client.post(address("kit_create", cast.group), {"name": "Blue bag", "holds": "Net"})
        made = Kit.objects.of_group(cast.group).get()
        url = address("kit_edit", cast.group, kit_id=made.pk)
        assert client.post(url, {"name": "Blue bag", "is_retired": "on"}, follow=True).status_code == 200
        assert Kit.objects.of_group(cast.group).get().retired_at is not None

    def test_a_name_twice_is_told_at_the_field(self, cast: Cast, kit: Kit) -> None:
        answer = signed_in(cast.coordinator).post(address("kit_create", cast.group), {"name": "red bag"})
        assert answer.status_code == 422
        assert "Another kit" in text_of(answer)

    def test_a_kit_of_a_neighbour_is_not_found(self, cast: Cast) -> None:
        other = save_kit(
            person=cast.person("neighbour_coordinator"), group=cast.neighbour, kit=None, name="Theirs"
        )
        client = signed_in(cast.volunteer)
        assert client.get(address("kit_detail", cast.group, kit_id=other.pk)).status_code == 404

    def test_the_form_names_the_kits_and_the_visit_shows_what_was_chosen(self, cast: Cast, kit: Kit) -> None:
        client = signed_in(cast.volunteer)
        start = client.post(address("visit_start", cast.group, site_id=cast.site.pk), follow=True)
        assert "Red bag" in text_of(start)
        url = start.redirect_chain[-1][0]
        from tests.factories import data_for

        form = post_of(data_for(cast.site)) | {
            "kit": str(kit.pk),
            "checklist_done": "on",
            "checklist_at": "09:40",
        }
        page = text_of(client.post(url, form | {"send": "1"}, follow=True))
        assert "Kit Red bag" in page
        assert "gone through at 09:40" in page
        visit = Visit.objects.of_group(cast.group).get()
        assert (visit.kit, visit.checklist_done) == (kit, True)

    def test_without_kits_the_form_asks_for_none(self, cast: Cast) -> None:
        client = signed_in(cast.volunteer)
        page = client.post(address("visit_start", cast.group, site_id=cast.site.pk), follow=True)
        assert "Kit used" not in text_of(page)
