"""Whatever is sent to a form, the portal answers with words, never with a server error."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from django.http import Http404, QueryDict
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from alerts.contacts.links import read_token
from alerts.models import Outcome
from portal.accounts.models import Role
from tests.access import scene, test_matrix
from tests.access.table import TABLE
from tests.access.test_matrix import ADDRESSES, answer_of, signed_in
from tests.access.world import World
from tests.chance import tries
from tests.factories import days_ago

once, own_scene, world = scene.once, scene.own_scene, scene.world
APPS = ("portal.accounts.", "portal.outbox.", "portal.privacy.", "portal.reports.", "alerts.", "surveys.rota.")
REFUSALS = {400, 404, 409, 410, 422}
INPUTS = tries(40)
# Buttons read nothing of what is sent, and some do long work.
FOR_A_BUTTON = 1

words = st.text(st.characters(codec="utf-8"), max_size=60)
numbers = st.one_of(
    st.integers().map(str),
    st.floats().map(str),
    st.sampled_from(["1e400", "-0", "٣", "1,5", "0x10", "9" * 400, "32768", "2147483648", " 7 ", "1_000"]),
)
days = st.one_of(
    st.dates().map(str),
    st.sampled_from(["0000-00-00", "2026-02-30", "99999-01-01", "tomorrow", "01/02/2026", "2026-1-1T00:00"]),
)
nasty = st.sampled_from(
    ["\x00", "a\x00b", "%s%d%n", "'; --", "<script>", "\u202e", "\r\nBcc: x@y.example", "x" * 5000]
)
junk = st.one_of(words, numbers, days, nasty, st.just(""), st.just("on"))
addresses = st.one_of(
    junk, st.emails(), st.sampled_from(["a@b", "ü@example.org", "a@" + "b" * 300 + ".example"])
)


def likely(*values: str) -> st.SearchStrategy[str]:
    """A value that the field takes, or junk: deep code is reached by forms that are right but for one field."""
    return st.one_of(st.sampled_from(values), junk)


contact = {
    "name": likely("Una Marsh"),
    "organisation": likely("Rivers Office"),
    "email": addresses | st.just("una@rivers.example"),
    "phone": likely("01632 960001"),
    "duty_line": likely("0800 555 0100"),
    "is_active": likely("on"),
}
BUTTON: Mapping[str, st.SearchStrategy[str]] = {}
FIELDS: Mapping[str, Mapping[str, st.SearchStrategy[str]]] = {
    "invitation_accept": {"name": likely("Newt"), "password": likely("three unrelated words")},
    "invitation_send": {"email": addresses, "role": likely(*Role.values)},
    "invitation_revoke": BUTTON,
    "membership_change": {
        "step": likely("leave", "naming", "role"),
        "role": likely(*Role.values),
        "show_name": likely("on"),
    },
    "own_data": {},
    "erasure_ask": {"understood": likely("on")},
    "erasure_stop": {},
    "person_erase": {"reason": junk, "understood": likely("on")},
    "keeping_terms": {"return_days": numbers, "mail_days": numbers, "draft_days": numbers},
    "factor_reset": {"reason": likely("Rang her.")},
    "session_list": {"session": numbers, "others": likely("all")},
    "account_address_agree": {"answer": likely("yes", "no")},
    "group_edit": {
        "name": likely("Alder Beck Watch"),
        "about": junk,
        "is_public": likely("on"),
        "hold_hours": numbers | likely("6"),
        "acknowledge_hours": numbers | likely("4"),
    },
    "trigger_set": {
        "index": likely("bmwp", "aspt", "fbi"),
        "level": numbers | likely("30"),
        "valid_from": days | likely(days_ago(-1).isoformat()),
        "reason": likely("Agreed."),
        "despite_provisional": likely("on"),
    },
    "site_contacts": {"CONTACT": numbers | likely("1")},
    "contact_create": contact,
    "contact_edit": contact,
    "contact_hours": {
        f"{end}-{weekday}": likely("09:00", "17:00") for end in ("opens", "closes") for weekday in (0, 6)
    },
    "absence_add": {
        "first_day": days | likely("2027-01-01"),
        "last_day": days | likely("2027-01-02"),
        "note": junk,
    },
    "absence_remove": BUTTON,
    "alert_policy": {"remind_hours": numbers, "repeat_days": numbers, "drill_days": numbers},
    "holiday_add": {"day": days | likely("2027-01-01"), "name": junk},
    "holiday_remove": BUTTON,
    "quiet_set": {"ends_at": junk | likely("2027-01-01T10:00"), "reason": likely("Works.")},
    "quiet_end": BUTTON,
    "drill_send": BUTTON,
    "drill_acknowledge": BUTTON,
    "visit_test_anyway": {"reason": likely("The gauge was normal.")},
    "incident_acknowledge": BUTTON,
    "incident_note": {"note-note": junk, "note-reference": likely("R-1")},
    "incident_close": {
        "close-outcome": likely(*Outcome.values),
        "close-note": junk,
        "close-reference": likely("R-1"),
    },
    "incident_renew_links": BUTTON,
    "incident_investigate": {"investigate-note": junk},
    "incident_forward": {"forward-to_name": likely("Una Marsh"), "forward-to_email": addresses},
    "forward_revoke": BUTTON,
    "repeat_ask": BUTTON,
    "repeat_take": BUTTON,
    "repeat_give_back": BUTTON,
    "outcome_list": {"label": likely("Silage clamp"), "counts_as": likely(*Outcome.values)},
    "outcome_change": {"offer": junk},
    "alert_investigate": {"investigate-note": junk},
    "alert_forward": {"forward-to_name": likely("Una Marsh"), "forward-to_email": addresses},
    "repeat_link_take": BUTTON,
    "repeat_link_give_back": BUTTON,
    "alert_acknowledge": BUTTON,
    "alert_outcome": {"note": junk, "reference": likely("R-1"), "outcome": likely(*Outcome.values)},
    "visit_move": {"day": days | likely(days_ago(-6).isoformat()), "start": junk | likely("10:30")},
    "visit_person_add": {"user": junk},
    "visit_call_off": {"reason": junk},
    "visit_cover_ask": BUTTON,
    "place_accept": BUTTON,
    "place_decline": BUTTON,
    "place_swap": {"yours": junk},
    "place_take_off": BUTTON,
    "cover_take": BUTTON,
    "rota_draft": {
        "first_day": days | likely(days_ago(-1).isoformat()),
        "weeks": numbers | likely("2"),
        "start": junk | likely("10:00"),
    },
    "rota_publish": BUTTON,
    "rota_discard": BUTTON,
    "rota_visit_add": {
        "site": junk,
        "day": days | likely(days_ago(-3).isoformat()),
        "start": likely("10:00"),
    },
    "availability_edit": {
        "weekdays": numbers | likely("0", "6"),
        "most_a_month": numbers | likely("2"),
        "home": junk | likely("54.44, -2.59"),
        "travel_km": numbers | likely("20"),
        "near_sites": junk,
        "remind_days": numbers | likely("3"),
        "first_name_in_calendar": likely("on"),
    },
    "named_days_add": {
        "kind": likely("can", "away"),
        "first_day": days | likely(days_ago(-3).isoformat()),
        "last_day": days | likely(days_ago(-4).isoformat()),
    },
    "named_days_remove": BUTTON,
    "feed_renew": BUTTON,
    "group_feed_renew": BUTTON,
    "rota_link_accept": BUTTON,
    "rota_link_decline": BUTTON,
    "rota_link_swap": {"yours": junk},
    "cover_link_take": BUTTON,
    "reminders_link": BUTTON,
    "reminders_link_on": BUTTON,
    "swap_link_agree": BUTTON,
    "swap_link_refuse": BUTTON,
    "messages_retry": BUTTON,
    "language_choose": {"language": junk | likely("de", "")},
    "telephone_choose": {"phone": likely("01632 960001", "")},
    "report_list": {"year": numbers | likely(str(days_ago(3).year)), "foreword": junk},
    "report_publish": BUTTON,
    "report_words": {"foreword": junk, "left_out": likely("map"), "caption-map": junk},
    "report_picture": {"alt": junk, "people": likely("nobody"), "credit": junk},
    "report_picture_remove": BUTTON,
}
# Addresses that read what stands behind the question mark.
QUERIES = {
    "trigger_set": {"index": likely("bmwp", "aspt"), "level": numbers},
    "incident_list": {"page": numbers},
    "contact_incidents": {"page": numbers},
}
# Buttons of letters: whatever else is sent, pressing one is answered with the page that says what was done.
SAYING_SO = {"account_address_agree", "erasure_stop"}
fuzzed = settings(
    max_examples=INPUTS,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def taking_forms() -> set[str]:
    """The addresses of these apps that take a POST, by the modules of their views.

    The programming interface is sent junk by its own schema: tests/surveys/api/test_docs.py.
    """
    pages = {name for name in test_matrix.addresses_of(APPS) if not name.startswith("api_")}
    return {name for name in pages if "post" in TABLE.get(name, {})}


def test_every_form_of_these_apps_is_tried() -> None:
    assert set(FIELDS) == taking_forms()


def query_of(data: st.DataObject, fields: Mapping[str, st.SearchStrategy[str]]) -> str:
    """Any of the fields, some of them twice, and some that nobody asked for; as browsers send them."""
    query = QueryDict(mutable=True)
    for name, values in fields.items():
        query.setlist(
            name, data.draw(st.lists(values, min_size=0 if data.draw(st.booleans()) else 1, max_size=2))
        )
    query.setlist(data.draw(words), data.draw(st.lists(junk, max_size=1)))
    return query.urlencode()


def address(world: World, name: str) -> str:
    return reverse(name, kwargs=world.arguments(name, ADDRESSES[name]))


def sender(world: World, name: str) -> Client:
    """Who gets furthest with the form."""
    others = {"invitation_accept": "nobody", "incident_forward": "contact", "cover_take": "volunteer"}
    others |= dict.fromkeys(("place_accept", "place_decline", "place_swap", "named_days_remove"), "volunteer")
    return signed_in(world, others.get(name, "coordinator"))


@pytest.mark.parametrize("name", sorted(FIELDS))
def test_it_answers_junk_in_a_form_with_words(world: World, name: str) -> None:
    client, url, answers = sender(world, name), address(world, name), set[int]()
    fields = {
        each.replace("CONTACT", str(world.values["contact_id"])): FIELDS[name][each] for each in FIELDS[name]
    }

    @settings(fuzzed, max_examples=INPUTS if fields else FOR_A_BUTTON)
    @given(st.data())
    def send(data: st.DataObject) -> None:
        body = query_of(data, fields)
        form = {"data": body, "content_type": "application/x-www-form-urlencoded"}
        answer = answer_of(client, "post", url, **form)
        assert answer.status_code < 500, body
        answers.add(answer.status_code)

    send()
    if name not in SAYING_SO:
        assert answers & ({302} | REFUSALS), "no answer of a form at all"
    assert answers <= {200, 302} | REFUSALS, answers


@pytest.mark.parametrize("name", sorted(QUERIES))
def test_it_answers_junk_behind_the_question_mark_with_a_page(world: World, name: str) -> None:
    client, url = sender(world, name), address(world, name)

    @fuzzed
    @given(st.data())
    def ask(data: st.DataObject) -> None:
        query = query_of(data, QUERIES[name])
        answer: Any = answer_of(client, "get", f"{url}?{query}")
        assert answer.status_code in {200, 422}, query

    ask()


@fuzzed
@given(token=st.one_of(words, st.text("abc.:-_0123456789", max_size=90)))
def test_it_knows_no_made_up_link(token: str) -> None:
    with pytest.raises(Http404):
        read_token(token)
