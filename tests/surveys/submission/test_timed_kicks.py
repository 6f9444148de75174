"""Kicks that a phone timed: read leniently, saved in order, shown to whoever checks the visit."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.cache import cache
from django.db import IntegrityError, transaction
from hypothesis import given
from hypothesis import strategies as st
from rest_framework.test import APIClient

from portal.audit.models import AuditEntry
from surveys.forms import data_from_post
from surveys.histories import events_of
from surveys.models import TimedKick, Visit
from surveys.services.drafts import save_draft, start_visit
from surveys.services.visits import correct_visit
from surveys.submission import Timed, differences, parse_submission, submission_data, submission_of
from surveys.submission.timing import log_text, read_log, timed_data
from surveys.visits.sheets import VisitSheet, timed_words
from tests.conftest import Cast
from tests.factories import data_for, days_ago, submit
from tests.surveys.pages import address, post_of, signed_in, text_of
from tests.surveys.test_fuzzing import fuzz

TEN = datetime(2026, 6, 14, 10, 0, 0, 120_000, tzinfo=UTC)


def kick(seconds: Any = "10.0", started_at: Any = "2026-06-14T10:00:00.120Z") -> dict[str, Any]:
    return {"started_at": started_at, "seconds": seconds}


def yesterday(*seconds: str) -> list[dict[str, str]]:
    """Kicks of yesterday noon, in order."""
    day = days_ago(1).isoformat()
    return [kick(each, f"{day}T12:0{minute}:00.000Z") for minute, each in enumerate(seconds)]


def spot(*seconds: str, number: int = 1, **parts: Any) -> dict[str, Any]:
    usual = {"number": number, "flow_type": "riffle", "kicks": "3", "seconds": "30", "depth_cm": "20"}
    return usual | parts | {"timed": yesterday(*seconds)}


class TestReading:
    def test_it_reads_kicks_in_order_to_the_millisecond(self) -> None:
        log = [kick("9.9876"), kick(4.2, "2026-06-14T11:00:20.5+01:00")]
        kicks, is_damaged = read_log(log)
        assert kicks == (
            Timed(TEN, Decimal("9.988")),
            Timed(datetime(2026, 6, 14, 10, 0, 20, 500_000, tzinfo=UTC), Decimal("4.2")),
        )
        assert not is_damaged

    def test_it_reads_the_same_as_text(self) -> None:
        log = [kick("10.0"), kick("4.2")]
        assert read_log(json.dumps(log)) == read_log(log)

    def test_it_passes_over_a_kick_whose_end_was_never_seen(self) -> None:
        """A page closed in the middle of a kick says that it began; its time is lost, nothing is wrong."""
        assert read_log([kick("10.0"), kick("")]) == ((Timed(TEN, Decimal(10)),), False)
        assert read_log([kick(None)]) == ((), False)
        assert read_log([{"started_at": "2026-06-14T10:00:00Z"}]) == ((), False)

    @pytest.mark.parametrize(
        "broken",
        [
            kick("ten"),
            kick("0"),
            kick("-1"),
            kick("0.0004"),
            kick("999.001"),
            kick("NaN"),
            kick(float("inf")),
            kick(True),
            kick([10]),
            kick("10", "yesterday"),
            kick("10", "2026-06-14T10:00:00"),
            kick("10", "2026-02-30T10:00:00Z"),
            kick("10", "0001-01-01T00:00:00+10:00"),
            kick("10", 1781430000),
            {"seconds": "10"},
            {},
            "10.0",
            None,
        ],
    )
    def test_it_leaves_out_what_it_cannot_read_and_says_so(self, broken: Any) -> None:
        assert read_log([kick("10.0"), broken]) == ((Timed(TEN, Decimal(10)),), True)

    @pytest.mark.parametrize("log", ["", "[", "{}", "7", "null", "[" * 100_000, {}, 7, True])
    def test_it_finds_no_kicks_in_what_is_no_log(self, log: Any) -> None:
        assert read_log(log) == ((), True)

    def test_it_reads_a_hundred_kicks_and_no_more(self) -> None:
        kicks, is_damaged = read_log([kick()] * 100)
        assert (len(kicks), is_damaged) == (100, False)
        kicks, is_damaged = read_log([kick()] * 101)
        assert (len(kicks), is_damaged) == (100, True)

    def test_it_writes_what_it_reads(self) -> None:
        kicks = (Timed(TEN, Decimal("9.988")), Timed(TEN, Decimal(10)))
        written = timed_data(kicks)
        assert written[0] == {"started_at": "2026-06-14T10:00:00.120Z", "seconds": "9.988"}
        assert read_log(written) == read_log(log_text(written)) == (kicks, False)

    @fuzz(200)
    @given(
        log=st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
            lambda inner: (
                st.lists(inner, max_size=3)
                | st.dictionaries(st.sampled_from(["started_at", "seconds"]), inner, max_size=2)
            ),
            max_leaves=6,
        )
    )
    def test_it_never_falls_over(self, log: Any) -> None:
        for each in (log, json.dumps(log)):
            kicks, is_damaged = read_log(each)
            assert all(Decimal(0) < one.seconds < 1000 for one in kicks)
            assert isinstance(is_damaged, bool)


class TestSubmitting:
    def test_it_saves_each_kick_with_its_number(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site, spots=[spot("10.0", "9.812", "10.0")])
        saved = TimedKick.objects.of_group(cast.group).filter(spot__visit=visit)
        assert [(each.number, each.seconds) for each in saved] == [
            (1, Decimal("10.000")),
            (2, Decimal("9.812")),
            (3, Decimal("10.000")),
        ]
        assert saved[1].started_at.isoformat() == f"{days_ago(1)}T12:01:00+00:00"

    def test_it_reads_a_saved_visit_back_with_its_kicks(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site, spots=[spot("10.0", "9.812", "10.0")])
        again = parse_submission(submission_data(visit))
        assert [each.seconds for each in again.spots[0].timed] == [
            Decimal(10),
            Decimal("9.812"),
            Decimal(10),
        ]
        assert differences(again, submission_of(visit)) == {}

    def test_it_takes_the_visit_when_the_log_is_damaged_and_tells_a_coordinator(self, cast: Cast) -> None:
        rows = [{"number": 1, "kicks": "3", "seconds": "30", "timed": "[{"}]
        visit = submit(cast.person("volunteer"), cast.site, spots=rows)
        found = visit.findings.get(rule="timed_damaged")
        assert found.field == "spots.1.seconds"
        assert "could not be read" in found.message
        assert not visit.spots.get().timed.exists()

    def test_it_takes_timed_kicks_alone_for_no_spot_at_all(self, cast: Cast) -> None:
        """Whoever cleared kicks and time of a spot says that it was not sampled."""
        data = data_for(cast.site, spots=[spot("10.0", kicks="", seconds="", depth_cm="", flow_type="")])
        assert parse_submission(data).spots == ()

    def test_it_says_what_the_phone_timed_otherwise(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site, spots=[spot("10.0", "10.0", "4.2")])
        said = {each.rule: each.message for each in visit.findings.filter(field="spots.1.seconds")}
        assert said["timed_otherwise"] == "The phone timed 24.2 s at this spot, and 30 s stand here."
        assert said["timed_off_plan"] == "Timed shorter or longer than the planned 10 s: kick 3: 4.2 s."

    def test_the_database_holds_each_kick_once_and_none_without_time(self, cast: Cast) -> None:
        effort = submit(cast.person("volunteer"), cast.site, spots=[spot("10.0")]).spots.get()
        for number, seconds in ((1, Decimal(10)), (2, Decimal(0))):
            with pytest.raises(IntegrityError), transaction.atomic():
                TimedKick.objects.create(spot=effort, number=number, started_at=TEN, seconds=seconds)

    def test_kicks_of_another_group_stay_unseen(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site, spots=[spot("10.0")])
        assert TimedKick.objects.visible_to(cast.person("other_volunteer")).count() == 1
        assert not TimedKick.objects.visible_to(cast.person("neighbour_volunteer")).exists()


class TestRevising:
    def test_a_correction_keeps_the_kicks(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site, spots=[spot("10.0", "10.0", "10.0")])
        data = submission_data(visit) | {"notes": "Otter spraint."}
        correct_visit(
            person=cast.person("coordinator"),
            visit=visit,
            submission=parse_submission(data),
            reason="Told later.",
        )
        assert TimedKick.objects.of_group(cast.group).count() == 3
        assert (
            "spots.1.timed" not in AuditEntry.objects.of_group(cast.group).get(verb="visit.corrected").changes
        )

    def test_the_trail_keeps_kicks_that_were_taken_out(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site, spots=[spot("10.0")])
        data = submission_data(visit)
        del data["spots"][0]["timed"]
        person = cast.person("coordinator")
        correct_visit(
            person=person, visit=visit, submission=parse_submission(data), reason="Another spot's kicks."
        )
        (event,) = events_of(AuditEntry.objects.of_group(cast.group).filter(verb="visit.corrected"))
        (change,) = event.changes
        assert change.label == "Spot 1, kicks timed by the phone"
        assert (change.old, change.new) == (f"{days_ago(1)}T12:00:00.000Z 10 s", "nothing")


class TestPages:
    def test_the_form_posts_them_in_a_field_of_the_spot(self) -> None:
        log = json.dumps([kick()])
        data = data_from_post({"spots-1-kicks": "1", "spots-1-timed": log, "spots-2-kicks": "3"})
        assert data["spots"][0]["timed"] == log
        assert "timed" not in data["spots"][1]

    def test_a_kick_that_runs_is_kept_though_nothing_else_is_typed(self) -> None:
        assert data_from_post({"spots-4-timed": json.dumps([kick("")])})["spots"][0]["number"] == 4

    @pytest.mark.parametrize("log", [json.dumps([kick()]), "[{ broken"])
    def test_a_draft_gives_the_log_back_letter_by_letter(self, cast: Cast, log: str) -> None:
        draft = start_visit(person=cast.person("volunteer"), site=cast.site)
        data = data_from_post({"visited_on": "2026-06-14", "spots-1-kicks": "1", "spots-1-timed": log})
        save_draft(person=cast.person("volunteer"), site=cast.site, number=draft.pk, data=data)
        page = signed_in(cast.volunteer).get(address("visit_submit", cast.group, draft_id=draft.pk))
        (shown,) = [each for number, _fields, each in page.context["entry"].form.spots() if number == 1]
        assert shown.value() == log

    def test_the_page_takes_them_and_shows_them(self, cast: Cast) -> None:
        draft = start_visit(person=cast.person("volunteer"), site=cast.site)
        data = data_for(cast.site, spots=[spot("10.0", "9.8", "4.2", seconds="24")])
        client = signed_in(cast.volunteer)
        url = address("visit_submit", cast.group, draft_id=draft.pk)
        page = client.post(url, post_of(data) | {"send": "1"}, follow=True)
        assert page.status_code == 200
        assert "timed by the phone: 10.0, 9.8, 4.2 (cut short) s" in text_of(page)
        review = signed_in(cast.coordinator).get(address("visit_review", cast.group, visit_id=draft.pk))
        assert "timed by the phone: 10.0, 9.8, 4.2 (cut short) s" in text_of(review)

    def test_a_spot_timed_by_hand_says_nothing_of_a_phone(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site)
        page = signed_in(cast.volunteer).get(address("visit_detail", cast.group, visit_id=visit.pk))
        assert "timed by the phone" not in text_of(page)
        assert [each.timed for each in VisitSheet(visit).spots] == ["", "", ""]

    def test_a_kick_is_cut_short_below_nine_tenths_of_the_plan(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site, spots=[spot("9.0", "8.999", "12.0")])
        assert timed_words(visit.spots.get(), Decimal(10)) == "9.0, 9.0 (cut short), 12.0"


class TestInterface:
    def put(self, cast: Cast, data: dict[str, Any]) -> Any:
        client = APIClient()
        client.force_login(cast.volunteer)
        cache.clear()
        number = uuid4()
        url = f"/api/v1/groups/{cast.group.slug}/visits/{number}/"
        return client.put(url, {**data, "id": str(number)}, format="json")

    def test_it_takes_them_and_gives_them_back(self, cast: Cast) -> None:
        answer = self.put(cast, data_for(cast.site, spots=[spot("10.0", "9.812", "10.0")]))
        assert answer.status_code == 201
        timed = answer.json()["submission"]["spots"][0]["timed"]
        assert timed[1] == {"started_at": f"{days_ago(1)}T12:01:00.000Z", "seconds": "9.812"}
        assert Visit.objects.of_group(cast.group).get().spots.get().timed.count() == 3

    def test_it_takes_a_visit_with_a_damaged_log_and_says_so_in_its_answer(self, cast: Cast) -> None:
        rows = [{"number": 1, "kicks": 3, "seconds": "30", "timed": [{"started_at": "?", "seconds": 10}]}]
        answer = self.put(cast, data_for(cast.site, spots=rows))
        assert answer.status_code == 201
        assert "timed_damaged" in {each["rule"] for each in answer.json()["findings"]}

    def test_its_schema_tells_of_them(self) -> None:
        schema = APIClient().get("/api/schema/", HTTP_ACCEPT="application/vnd.oai.openapi+json").json()
        parts = schema["components"]["schemas"]
        timed = parts["Spot"]["properties"]["timed"]
        assert timed["type"] == "array"
        kick_shape = parts[timed["items"]["$ref"].rpartition("/")[2]]
        assert kick_shape["properties"]["started_at"]["format"] == "date-time"
