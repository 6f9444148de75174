"""How a group goes out: the usual checklist until it writes its own, its times, and who may change them."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.http import Http404

from portal.audit.services import history_of
from surveys.forms.outings import OutingRulesForm
from surveys.models import OutingRules
from surveys.outings.rules import checklist_of, lines_of, rules_of, usual_rules
from surveys.services.outings import edit_outing_rules
from tests.conftest import Cast
from tests.surveys.pages import address, signed_in, text_of

pytestmark = pytest.mark.django_db
FIELDS: dict[str, Any] = {
    "before": "Gauge read\nPartner here",
    "at_water": "Bed visible",
    "after": "Kit washed",
    "drying_days": 7,
    "again_minutes": 10,
    "coordinators_minutes": 20,
    "named_minutes": 40,
    "emergency_words": "Ring the valley's rescue line.",
}


def edit(cast: Cast, who: str = "coordinator", **changes: Any) -> OutingRules:
    return edit_outing_rules(person=cast.person(who), group=cast.group, fields=FIELDS | changes)


def stored(cast: Cast) -> OutingRules:
    return OutingRules.objects.of_group(cast.group).get()


class TestTheUsualList:
    def test_it_holds_until_a_group_writes_its_own(self, cast: Cast) -> None:
        parts = checklist_of(rules_of(cast.group))
        assert [part.key for part in parts] == ["before", "at_water", "after"]
        assert not OutingRules.objects.of_group(cast.group).exists()

    @pytest.mark.parametrize(
        ("part", "word"),
        [
            ("before", "River level and forecast"),
            ("before", "Permission"),
            ("before", "Partner"),
            ("before", "on shore"),
            ("before", "Phones charged"),
            ("before", "Kit clean"),
            ("at_water", "if in doubt, stay out"),
            ("after", "hung up to dry"),
        ],
    )
    def test_it_names_what_common_practice_asks_for(self, cast: Cast, part: str, word: str) -> None:
        lines = next(each.lines for each in checklist_of(usual_rules(cast.group)) if each.key == part)
        assert any(word in line for line in lines)

    def test_it_leaves_out_a_part_that_a_group_has_emptied(self, cast: Cast) -> None:
        edit(cast, at_water="")
        assert [part.key for part in checklist_of(rules_of(cast.group))] == ["before", "after"]

    def test_blank_lines_are_no_items(self) -> None:
        assert lines_of(" Net \n\n  \nPots\n") == ("Net", "Pots")


class TestChanging:
    def test_it_keeps_what_a_coordinator_writes_and_says_who_did(self, cast: Cast) -> None:
        rules = edit(cast)
        assert stored(cast).before == FIELDS["before"]
        (entry,) = history_of(rules, cast.group)
        assert entry.verb == "outing_rules.changed"
        assert entry.actor == cast.coordinator
        assert entry.changes["named_minutes"] == [45, 40]

    def test_the_old_list_stays_in_the_audit_trail(self, cast: Cast) -> None:
        rules = edit(cast)
        edit(cast, before="Gauge read")
        assert list(history_of(rules, cast.group))[-1].changes == {"before": [FIELDS["before"], "Gauge read"]}

    def test_a_change_of_nothing_leaves_no_trace(self, cast: Cast) -> None:
        rules = edit(cast)
        edit(cast)
        assert history_of(rules, cast.group).count() == 1

    def test_there_is_one_row_however_often_they_are_changed(self, cast: Cast) -> None:
        edit(cast)
        edit(cast, "second_coordinator", drying_days=4)
        assert stored(cast).drying_days == 4

    def test_a_volunteer_may_not(self, cast: Cast) -> None:
        with pytest.raises(PermissionDenied):
            edit(cast, "volunteer")

    def test_a_neighbour_learns_nothing(self, cast: Cast) -> None:
        with pytest.raises(Http404):
            edit(cast, "neighbour_coordinator")

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"coordinators_minutes": 10}, "coordinators_minutes"),
            ({"coordinators_minutes": 5}, "coordinators_minutes"),
            ({"named_minutes": 20}, "named_minutes"),
            ({"again_minutes": 0}, "again_minutes"),
            ({"named_minutes": 601}, "named_minutes"),
            ({"drying_days": 0}, "drying_days"),
        ],
    )
    def test_it_refuses_times_that_cannot_be(self, cast: Cast, changes: dict[str, Any], field: str) -> None:
        with pytest.raises(ValidationError) as refusal:
            edit(cast, **changes)
        assert field in refusal.value.message_dict

    def test_the_database_refuses_steps_that_do_not_ascend(self, cast: Cast) -> None:
        edit(cast)
        with pytest.raises(IntegrityError), transaction.atomic():
            OutingRules.objects.of_group(cast.group).update(named_minutes=20)


class TestTheForm:
    def test_it_says_at_its_field_which_step_comes_too_early(self) -> None:
        form = OutingRulesForm(FIELDS | {"named_minutes": "15"})
        assert not form.is_valid()
        assert list(form.errors) == ["named_minutes"]

    def test_it_refuses_a_list_that_nobody_goes_through(self) -> None:
        form = OutingRulesForm(FIELDS | {"before": "\n".join(f"Item {n}" for n in range(41))})
        assert "40 lines" in str(form.errors["before"])

    def test_it_refuses_an_item_as_long_as_a_letter(self) -> None:
        assert "160" in str(OutingRulesForm(FIELDS | {"after": "x" * 161}).errors["after"])

    def test_it_takes_forty_lines_of_160_letters(self) -> None:
        assert OutingRulesForm(FIELDS | {"before": "\n".join(["x" * 160] * 40)}).is_valid()


class TestPages:
    def test_members_read_list_times_and_whom_to_telephone(self, cast: Cast) -> None:
        edit(cast)
        page = text_of(signed_in(cast.volunteer).get(address("outing_rules", cast.group)))
        for words in (
            "Gauge read",
            "7 days",
            "10 minutes later",
            "valley's rescue line",
            "no emergency service",
        ):
            assert words in page

    def test_it_keeps_the_rules_and_shows_them(self, cast: Cast) -> None:
        client = signed_in(cast.coordinator)
        answer = client.post(address("outing_rules_edit", cast.group), FIELDS, follow=True)
        assert answer.status_code == 200
        assert "Gauge read" in text_of(answer)
        assert stored(cast).named_minutes == 40

    def test_it_shows_again_what_was_typed_with_the_mistake(self, cast: Cast) -> None:
        wrong = FIELDS | {"coordinators_minutes": 5, "before": "My own line"}
        answer = signed_in(cast.coordinator).post(address("outing_rules_edit", cast.group), wrong)
        assert answer.status_code == 422
        assert "My own line" in text_of(answer)
        assert "later than the pair is reminded again" in text_of(answer)
        assert not OutingRules.objects.of_group(cast.group).exists()
