"""Pages of working hours, days away, holidays, waiting times and quiet."""

from __future__ import annotations

from datetime import date, time, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from alerts.contacts.working_time import duties_of, policy_of
from alerts.models import AlertPolicy, ContactAbsence, ContactHours, Holiday, QuietPeriod
from alerts.queries import quiet_now
from portal.audit.models import AuditEntry
from tests.alerts.conftest import Watch

pytestmark = pytest.mark.django_db
BASE = "/groups/alder-beck"
OFFICE = {f"{end}-{day}": clock for day in range(5) for end, clock in (("opens", "09:00"), ("closes", "17:00"))}


@pytest.fixture
def coordinator(client: Client, watch: Watch) -> Client:
    client.force_login(watch.cast.coordinator)
    return client


def hours_page(watch: Watch) -> str:
    return f"{BASE}/contacts/{watch.first.pk}/hours/"


def verbs() -> list[str]:
    rows = AuditEntry.objects.across_groups("tests look at all").order_by("at")
    return list(rows.values_list("verb", flat=True))


class TestHours:
    """A line for each weekday."""

    def test_it_saves_and_shows_them(self, coordinator: Client, watch: Watch) -> None:
        answer = coordinator.post(hours_page(watch), OFFICE)
        assert answer.status_code == 302
        duty = duties_of(watch.cast.group, [watch.first])[0]
        assert duty.hours == {day: (time(9), time(17)) for day in range(5)}
        page = coordinator.get(hours_page(watch)).content.decode()
        assert page.count('value="09:00"') == 5
        assert "contact.hours_set" in verbs()

    def test_empty_lines_take_them_away(self, coordinator: Client, watch: Watch) -> None:
        coordinator.post(hours_page(watch), OFFICE)
        coordinator.post(hours_page(watch), {})
        assert not ContactHours.objects.of_group(watch.cast.group).exists()

    @pytest.mark.parametrize(
        ("typed", "field", "words"),
        [
            ({"opens-0": "09:00"}, "closes-0", "Give both times"),
            ({"closes-6": "09:00"}, "opens-6", "Give both times"),
            ({"opens-2": "17:00", "closes-2": "09:00"}, "closes-2", "later than the beginning"),
            ({"opens-2": "nine", "closes-2": "17:00"}, "opens-2", "valid time"),
        ],
    )
    def test_it_says_what_is_wrong_at_the_field(
        self, coordinator: Client, watch: Watch, typed: dict[str, str], field: str, words: str
    ) -> None:
        answer = coordinator.post(hours_page(watch), typed)
        assert answer.status_code == 422
        assert set(answer.context["form"].errors) == {field}
        assert words in answer.content.decode()
        assert not ContactHours.objects.of_group(watch.cast.group).exists()


class TestAway:
    """Days on which a contact is away."""

    def post(self, client: Client, watch: Watch, **typed: str) -> Any:
        return client.post(f"{BASE}/contacts/{watch.first.pk}/away/", typed)

    def test_it_is_added_shown_and_taken_off(self, coordinator: Client, watch: Watch) -> None:
        self.post(coordinator, watch, first_day="2027-07-01", last_day="2027-07-14", note="Leave")
        absence = ContactAbsence.objects.of_group(watch.cast.group).get()
        assert "1 July 2027 to 14 July 2027" in coordinator.get(hours_page(watch)).content.decode()
        address = f"{BASE}/contacts/{watch.first.pk}/away/{absence.pk}/remove/"
        assert coordinator.post(address).status_code == 302
        assert not ContactAbsence.objects.of_group(watch.cast.group).exists()
        assert verbs()[-2:] == ["contact.absence_added", "contact.absence_removed"]

    def test_it_must_not_end_before_it_begins(self, coordinator: Client, watch: Watch) -> None:
        answer = self.post(coordinator, watch, first_day="2027-07-14", last_day="2027-07-01", note="Kept")
        assert answer.status_code == 422
        assert set(answer.context["absence_form"].errors) == {"last_day"}
        assert 'value="Kept"' in answer.content.decode()

    def test_an_absence_of_another_contact_is_not_found(self, coordinator: Client, watch: Watch) -> None:
        self.post(coordinator, watch, first_day="2027-07-01", last_day="2027-07-14")
        absence = ContactAbsence.objects.of_group(watch.cast.group).get()
        address = f"{BASE}/contacts/{watch.second.pk}/away/{absence.pk}/remove/"
        assert coordinator.post(address).status_code == 404


class TestHolidays:
    """Days on which agencies do not work."""

    def test_one_is_added_once_and_taken_off(self, coordinator: Client, watch: Watch) -> None:
        typed = {"day": "2026-12-25", "name": "Christmas Day"}
        assert coordinator.post(f"{BASE}/holidays/", typed).status_code == 302
        again = coordinator.post(f"{BASE}/holidays/", typed)
        assert again.status_code == 422
        assert "on the list already" in again.content.decode()
        holiday = Holiday.objects.of_group(watch.cast.group).get()
        assert duties_of(watch.cast.group, [watch.first])[0].holidays == {date(2026, 12, 25)}
        coordinator.post(f"{BASE}/holidays/{holiday.pk}/remove/")
        assert not Holiday.objects.of_group(watch.cast.group).exists()


class TestPolicy:
    """Waiting times."""

    def test_a_group_that_said_nothing_has_the_defaults(self, watch: Watch) -> None:
        policy = policy_of(watch.cast.group)
        assert (policy.remind_hours, policy.repeat_days, policy.drill_days) == (2, 3, 180)

    def test_it_saves_what_changed(self, coordinator: Client, watch: Watch) -> None:
        typed = {"remind_hours": "1", "repeat_days": "3", "drill_days": "90"}
        assert coordinator.post(f"{BASE}/alert-policy/", typed).status_code == 302
        assert coordinator.post(f"{BASE}/alert-policy/", typed).status_code == 302
        policy = AlertPolicy.objects.of_group(watch.cast.group).get()
        assert (policy.remind_hours, policy.drill_days) == (1, 90)
        assert verbs().count("group.alert_policy_set") == 1

    @pytest.mark.parametrize("typed", ["-1", "", "soon", "99999999"])
    def test_it_says_what_is_wrong_at_the_field(self, coordinator: Client, watch: Watch, typed: str) -> None:
        given = {"remind_hours": typed, "repeat_days": "3", "drill_days": "90"}
        answer = coordinator.post(f"{BASE}/alert-policy/", given)
        assert (answer.status_code, set(answer.context["form"].errors)) == (422, {"remind_hours"})


class TestQuiet:
    """Beginning and ending a time of quiet from its page."""

    def post(self, client: Client, watch: Watch, **typed: str) -> Any:
        end = timezone.localtime() + timedelta(days=2)
        given = {"ends_at": end.strftime("%Y-%m-%dT%H:%M"), "reason": "The weir is rebuilt."} | typed
        return client.post(f"{BASE}/sites/{watch.site.pk}/quiet/", given)

    def test_it_is_begun_shown_and_ended(self, coordinator: Client, watch: Watch) -> None:
        assert self.post(coordinator, watch).status_code == 302
        site = coordinator.get(f"{BASE}/sites/{watch.site.pk}/").content.decode()
        assert "Quiet: no agency is told" in site
        assert "The weir is rebuilt." in site
        quiet = QuietPeriod.objects.of_group(watch.cast.group).get()
        coordinator.post(f"{BASE}/sites/{watch.site.pk}/quiet/{quiet.pk}/end/")
        assert quiet_now(watch.site) is None
        assert "no agency is told" not in coordinator.get(f"{BASE}/sites/{watch.site.pk}/").content.decode()
        record = coordinator.get(f"{BASE}/sites/{watch.site.pk}/quiet/").content.decode()
        assert "set by Cora Example" in record

    @pytest.mark.parametrize(
        ("field", "typed"), [("reason", ""), ("ends_at", ""), ("ends_at", "2020-01-01T10:00"), ("ends_at", "x")]
    )
    def test_it_says_what_is_wrong_at_the_field(
        self, coordinator: Client, watch: Watch, field: str, typed: str
    ) -> None:
        answer = self.post(coordinator, watch, **{field: typed})
        assert (answer.status_code, set(answer.context["form"].errors)) == (422, {field})
        assert quiet_now(watch.site) is None
