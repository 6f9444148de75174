"""The audit trail in words."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from django.template.loader import render_to_string

from portal.audit.models import AuditEntry
from surveys.histories import Event, events_of, label_of


def entry(verb: str = "visit.corrected", hour: int = 10, **changes: Any) -> AuditEntry:
    moment = datetime(2026, 5, 3, hour, tzinfo=UTC)
    return AuditEntry(verb=verb, actor_name="Cora Example", at=moment, changes=changes, reason="Meter slipped.")


def only(found: list[Event]) -> Event:
    assert len(found) == 1
    return found[0]


def change(path: str, old: Any, new: Any) -> tuple[str, str, str]:
    corrected = entry()
    corrected.changes = {path: [old, new]}
    made = only(events_of([corrected])).changes[0]
    return made.label, made.old, made.new


def test_it_tells_who_did_what_when_and_why() -> None:
    event = only(events_of([entry()]))
    assert (event.who, event.what, event.reason) == ("Cora Example", "Visit corrected", "Meter slipped.")
    assert event.when.hour == 10


def test_it_tells_the_newest_first() -> None:
    events = events_of([entry("visit.submitted", 9), entry("visit.approved", 11)])
    assert [event.what for event in events] == ["Visit approved", "Visit submitted"]


def test_it_spells_out_a_verb_it_has_no_words_for() -> None:
    assert only(events_of([entry("photo.put_aside")])).what == "photo put aside"


@pytest.mark.parametrize(
    ("path", "label"),
    [
        ("visited_on", "Date of the visit"),
        ("spots.1.seconds", "Spot 1, seconds"),
        ("spots.2.depth_cm", "Spot 2, depth, cm"),
        ("spots.2", "Spot 2"),
        ("measurements.ph", "pH"),
        ("measurements.unheard", "unheard"),
        ("counts.Baetidae", "Baetidae"),
        ("hazards", "Hazards"),
        ("landowner", "Who gave permission"),
        ("some_new_field", "Some new field"),
    ],
)
def test_it_calls_a_field_what_the_forms_call_it(path: str, label: str) -> None:
    assert label_of(path) == label


def test_it_gives_old_and_new() -> None:
    assert change("measurements.ph", "9.4 pH", "8.4 pH") == ("pH", "9.4 pH", "8.4 pH")


@pytest.mark.parametrize("empty", [None, "", [], {}])
def test_it_says_nothing_for_what_was_not_recorded(empty: Any) -> None:
    assert change("counts.Elmidae", empty, "10-99") == ("Elmidae", "nothing", "10-99")


def test_it_keeps_a_nought_apart_from_nothing() -> None:
    assert change("counts.Elmidae", 0, "12") == ("Elmidae", "0", "12")


def test_it_turns_codes_into_their_words() -> None:
    assert change("water_level", "normal", "high") == ("Water level", "normal", "high")
    assert change("clarity", "clear", "opaque") == (
        "Clarity of the water",
        "clear, bed visible",
        "bed not visible",
    )
    assert change("status", "waiting", "approved")[1:] == ("waiting to be checked", "approved")


def test_it_turns_yes_and_no_into_words() -> None:
    assert change("was_made", True, False)[1:] == ("yes", "no")


def test_it_joins_the_parts_of_a_nested_value() -> None:
    assert change("measurements.ph", {"value": "9.4", "unit": ""}, {"value": "8.4", "unit": "pH"})[1:] == (
        "9.4",
        "8.4 pH",
    )


def test_it_reads_a_change_that_names_only_the_new_value() -> None:
    made = only(events_of([entry(name="Mill tail")])).changes[0]
    assert (made.old, made.new) == ("nothing", "Mill tail")


@pytest.mark.parametrize(("entries", "folds"), [(20, 0), (21, 1), (45, 2)])
def test_a_long_trail_is_folded_and_nothing_of_it_is_left_out(entries: int, folds: int) -> None:
    events = events_of([entry(hour=number % 24) for number in range(entries)])
    page = render_to_string("surveys/_events.html", {"events": events})
    assert page.count("Visit corrected") == entries
    assert page.count("Older entries") == folds
