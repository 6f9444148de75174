"""The page on which a trigger is set: figures before the decision, and their record after it."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from alerts.models import Trigger
from surveys.models import VisitScore
from tests.alerts.conftest import Watch, add_baseline, approved_visit, mails, the_incident
from tests.factories import days_ago

pytestmark = pytest.mark.django_db
MORE = 24


@pytest.fixture
def client(watch: Watch) -> Client:
    client = Client()
    client.force_login(watch.cast.coordinator, backend="allauth.account.auth_backends.AuthenticationBackend")
    return client


@pytest.fixture
def known(watch: Watch) -> Watch:
    """Twenty-four more approved visits, with scores from 40 up."""
    for number in range(MORE):
        day = days_ago(300 + 30 * number)
        approved_visit(watch.site, watch.cast.coordinator, watch.cast.other_volunteer, day, 40 + number % 12)
    return watch


def address(watch: Watch) -> str:
    return reverse("trigger_set", args=[watch.cast.group.slug, watch.site.pk])


def page(client: Client, watch: Watch, **asked: str) -> str:
    answer = client.get(address(watch), asked)
    assert answer.status_code == 200
    return answer.content.decode()


def send(client: Client, watch: Watch, **changes: str) -> Any:
    today = timezone.localdate().isoformat()
    given = {"index": "bmwp", "level": "35", "valid_from": today, "reason": "Agreed by telephone."}
    return client.post(address(watch), given | changes)


def newest(watch: Watch) -> Trigger:
    return Trigger.objects.filter(group=watch.cast.group).latest("created_at")


def hidden(text: str) -> dict[str, str]:
    """What the form would send of the question on the screen."""
    found = {}
    for part in text.split('<input type="hidden" name="shown-')[1:]:
        name, _quote, rest = part.partition('" value="')
        found[f"shown-{name}"] = rest.partition('"')[0]
    return found


def test_it_starts_with_the_trigger_in_force(client: Client, known: Watch) -> None:
    text = page(client, known)
    assert "At a level of 30" in text
    assert "False alarms, at a site that has not changed" in text
    assert hidden(text)["shown-level"] == "30.0"


def test_it_shows_the_distribution_with_the_level(client: Client, known: Watch) -> None:
    text = page(client, known, index="bmwp", level="42.5")
    assert "BMWP at the baseline visits" in text
    assert "baseline visits: 32; lowest 40, middle 47.5, highest 51; below a level of 42.5: 6" in text
    assert "level 42.5" in text


def test_it_tells_false_alarms_and_catches_of_the_falls_asked_for(client: Client, known: Watch) -> None:
    text = page(client, known, index="bmwp", level="42", falls="5; 12")
    assert "A lasting fall by 5 points would be caught at the next visit" in text
    assert "Fall by 12: within two" in text
    assert "Levels side by side, at 12 visits a year" in text


def test_it_suggests_a_level_for_the_wished_rate(client: Client, known: Watch) -> None:
    """33 gaps at 12 visits a year: the lowest score fires 0.36 times, and rank 2 of 0.75 a year is 40 too."""
    text = page(client, known, index="bmwp", level="", wanted="0.5")
    assert "Suggested, so that false alarms stay at or below 0.5 a year: 40." in text
    assert "At a level of 40" in text
    assert 'name="level" value="40' in text.partition('id="set"')[2]


def test_it_says_plainly_when_there_are_too_few_visits(client: Client, watch: Watch) -> None:
    text = page(client, watch, index="bmwp", level="", wanted="0.5")
    assert "no level can be suggested yet: it takes 23 baseline visits" in text
    assert "8 visits cannot tell a level with only 0.5 false alarms a year" in text
    assert "All scores are alike" in text


def test_it_says_so_where_no_visit_has_the_index(client: Client, watch: Watch) -> None:
    text = page(client, watch, index="aspt")
    assert "There is no baseline visit yet" in text
    assert "No baseline visit yet" not in text


def test_it_looks_at_a_season(client: Client, known: Watch) -> None:
    text = page(client, known, index="bmwp", level="42", season="summer")
    assert ", June to August" in text
    assert "at 3 visits a year" in text


@pytest.mark.parametrize(
    ("asked", "complaint"),
    [
        ({"wanted": "12"}, "below the 12 visits a year"),
        ({"wanted": "0"}, "above 0"),
        ({"wanted": "-1"}, "above 0"),
        ({"season": "summer", "wanted": "3"}, "below the 3 visits a year"),
        ({"falls": "many"}, "Write numbers, parted by a semicolon"),
        ({"falls": "5; -2"}, "each more than 0 points"),
        ({"falls": "inf"}, "each more than 0 points"),
        ({"falls": "1 2 3 4 5"}, "at most four falls"),
        ({"level": "nan"}, "Enter a number"),
        ({"index": "fbi"}, "Select a valid choice"),
    ],
)
def test_it_says_at_the_field_what_is_wrong_with_a_question(
    client: Client, known: Watch, asked: dict[str, str], complaint: str
) -> None:
    assert complaint in page(client, known, **({"index": "bmwp"} | asked))


def test_it_offers_no_index_that_rises_with_pollution(client: Client, watch: Watch) -> None:
    assert 'value="fbi"' not in page(client, watch)
    assert send(client, watch, index="fbi").status_code == 422
    assert "Choose one of the indices that fall" in send(client, watch, index="fbi").content.decode()


def test_it_keeps_the_advice_that_was_on_the_screen(client: Client, known: Watch) -> None:
    shown = hidden(page(client, known, index="bmwp", level="42", season="summer", falls="5", wanted="1"))
    assert send(client, known, level="42", **shown).status_code == 302
    record = newest(known).advice
    assert record["was_on_screen"] is True
    assert (record["season"], record["wanted_per_year"], record["level"]["level"]) == ("summer", 1, 42)
    assert [each["fall"] for each in record["level"]["catches"]] == [5]


def test_it_says_in_the_record_that_another_level_was_on_the_screen(client: Client, known: Watch) -> None:
    shown = hidden(page(client, known, index="bmwp", level="42"))
    send(client, known, level="44", **shown)
    record = newest(known).advice
    assert (record["was_on_screen"], record["level"]["level"]) == (False, 44)


def test_it_keeps_a_record_for_another_index_than_the_one_shown(client: Client, known: Watch) -> None:
    rows = VisitScore.objects.filter(visit__site=known.site).across_groups("test")
    VisitScore.objects.bulk_create(
        VisitScore(visit_id=each.visit_id, index="aspt", version="1980-table-1", value=6) for each in rows
    )
    shown = hidden(page(client, known, index="bmwp", level="42", falls="20"))
    send(client, known, index="aspt", level="5.5", **shown)
    record = newest(known).advice
    assert (record["index"], record["was_on_screen"]) == ("aspt", False)
    assert [each["fall"] for each in record["level"]["catches"]] == [1.5, 3]


@pytest.mark.parametrize("spoilt", [{}, {"shown-index": "fbi"}, {"shown-index": "bmwp", "shown-wanted": "99"}])
def test_it_keeps_a_record_whatever_the_hidden_fields_say(
    client: Client, known: Watch, spoilt: dict[str, str]
) -> None:
    assert send(client, known, **spoilt).status_code == 302
    assert newest(known).advice["level"]["level"] == 35
    assert newest(known).advice["was_on_screen"] is False


def test_it_shows_the_record_in_the_list_of_triggers(client: Client, known: Watch) -> None:
    assert "No advice was kept with it." in page(client, known)
    send(client, known)
    text = page(client, known).partition('id="earlier"')[2]
    assert (
        "Odds of a false alarm at this level, from 32 baseline visits: at most about one every 2.8 years"
        in text
    )
    assert "A lasting fall by" in text


def test_it_keeps_the_question_after_a_mistake_below(client: Client, known: Watch) -> None:
    shown = hidden(page(client, known, index="bmwp", level="42", season="summer"))
    answer = send(client, known, level="42", reason="", **shown)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert hidden(text) == shown
    assert ", June to August" in text


def test_it_draws_control_charts(client: Client, known: Watch) -> None:
    text = page(client, known)
    assert "Single visits (Shewhart chart)" in text
    assert "Weighted mean (EWMA chart)" in text
    # Each for a wide and a narrow screen; the third is folded away.
    assert text.count("rb-chart-control") == 6
    assert "<summary>Sum of falls (CUSUM chart)</summary>" in text
    for source in ("Shewhart 1931", "Lucas and Saccucci 1990", "Page 1954"):
        assert source in text


def test_it_says_what_control_charts_need(client: Client, watch: Watch) -> None:
    assert "Control charts need 8 baseline visits whose scores differ" in page(client, watch)


def test_it_costs_no_more_for_a_longer_history(
    client: Client, watch: Watch, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(18) as few:
        page(client, watch, index="bmwp")
    add_baseline(watch.site, watch.cast.coordinator, watch.cast.other_volunteer, visits=20)
    with django_assert_max_num_queries(18) as many:
        page(client, watch, index="bmwp")
    assert len(many) == len(few)


def test_an_alert_tells_the_odds_of_a_false_alarm(client: Client, known: Watch) -> None:
    send(client, known, level="41")
    Trigger.objects.filter(group=known.cast.group, pk=newest(known).pk).update(valid_from=days_ago(5))
    known.submit_low()
    (told,) = mails(kind="contact.told")
    odds = "Odds of a false alarm at this level, from 32 baseline visits: about 1.1 a year"
    assert odds in told.text
    assert odds in told.html
    shown = client.get(reverse("incident_detail", args=[the_incident().pk])).content.decode()
    assert odds in shown


def test_an_alert_says_nothing_of_odds_that_nobody_knew(client: Client, watch: Watch) -> None:
    watch.submit_low()
    (told,) = mails(kind="contact.told")
    assert "Odds of" not in told.text + told.html


def test_it_warns_of_baseline_visits_out_of_line(client: Client, known: Watch) -> None:
    assert "Visits out of line" not in page(client, known)
    approved_visit(known.site, known.cast.coordinator, known.cast.other_volunteer, days_ago(20), 5)
    text = page(client, known)
    assert "Visits out of line" in text
    assert "(5): far below the other baseline visits" in text
