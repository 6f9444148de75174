"""What a phone on the bank sends: the form's own fields, under the person whose they are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

import pytest
from django.db import transaction
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

from portal.accounts.models import Role
from surveys.lists.lines import read_lines
from surveys.models import RecordingList, Visit
from surveys.models.visits import Source
from surveys.services.lists import change_list, create_list
from tests.chance import tries
from tests.conftest import Cast
from tests.factories import MembershipFactory, SiteFactory, days_ago
from tests.surveys.api.conftest import ClientOf, address

FORM = "application/x-www-form-urlencoded"


def typed(cast: Cast, **changes: str) -> dict[str, str]:
    """The fields of an ordinary visit as the form has them."""
    fields = {
        "site": str(cast.site.pk),
        "was_made": "yes",
        "visited_on": days_ago(1).isoformat(),
        "started_at": "10:00",
        "ended_at": "11:10",
        "partner_name": "Bo Marsh",
        "water_level": "normal",
        "clarity": "clear",
        "counts-Baetidae-count": "40",
        "counts-Elmidae-range": "1-9",
        "counts-Perlidae-none": "on",
        "other-1-name": "",
    }
    fields |= {f"spots-{number}-kicks": "3" for number in (1, 2, 3)}
    fields |= {f"spots-{number}-seconds": "30" for number in (1, 2, 3)}
    fields |= {f"spots-{number}-flow_type": "riffle" for number in (1, 2, 3)}
    return fields | {name.replace("__", "-"): value for name, value in changes.items()}


def put(client: Client, fields: Mapping[str, str], number: Any = None, **headers: str) -> Any:
    url = address("visits", number or uuid4())
    return client.put(url, urlencode(fields), content_type=FORM, headers=headers)


def controls(answer: Any) -> dict[str, str]:
    return {problem["control"]: problem["message"] for problem in answer.json()["problems"]}


def test_it_takes_the_fields_of_the_form(cast: Cast, client_of: ClientOf) -> None:
    number = uuid4()
    answer = put(client_of("volunteer"), typed(cast), number)
    assert answer.status_code == 201, answer.json()
    visit = Visit.objects.of_group(cast.group).get()
    assert (visit.pk, visit.source, visit.partner_name) == (number, Source.FORM, "Bo Marsh")
    assert {each.taxon: (each.count, each.low) for each in visit.counts.all()} == {
        "Baetidae": (40, None),
        "Elmidae": (None, 1),
        "Perlidae": (0, None),
    }
    assert visit.recording_list_id == cast.site.recording_list_id


def test_it_answers_a_form_sent_twice_with_the_first_result(cast: Cast, client_of: ClientOf) -> None:
    client, number = client_of("volunteer"), uuid4()
    first, again = put(client, typed(cast), number), put(client, typed(cast, notes="more"), number)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert Visit.objects.of_group(cast.group).count() == 1


@pytest.mark.parametrize(
    ("fields", "control"),
    [
        ({"visited_on": "soon"}, "visited_on"),
        ({"spots-2-seconds": "long"}, "spots-2-seconds"),
        ({"measurements-ph-value": "acid"}, "measurements-ph-value"),
        ({"counts-Elmidae-count": "many"}, "counts-Elmidae-count"),
        ({"other-2-name": "Beatidae", "other-2-count": "3"}, "other-2-count"),
        ({"other-2-name": "", "other-2-count": "3"}, "other-2-name"),
        ({"fraction_sorted": "1/4", "whole-1-name": "Perlodidae", "whole-1-count": "x"}, "whole-1-count"),
        ({"recorder": str(uuid4())}, "recorder"),
    ],
)
def test_it_names_the_control_at_fault(
    cast: Cast, client_of: ClientOf, fields: dict[str, str], control: str
) -> None:
    answer = put(client_of("volunteer"), typed(cast) | fields)
    assert answer.status_code == 422
    assert control in controls(answer), answer.json()
    assert not Visit.objects.of_group(cast.group).exists()


def test_it_names_the_part_of_the_form_where_all_of_it_is_at_fault(cast: Cast, client_of: ClientOf) -> None:
    empty = {name: value for name, value in typed(cast).items() if not name.startswith(("counts-", "spots-"))}
    assert set(controls(put(client_of("volunteer"), empty))) == {"counts"}


def test_it_lists_mistakes_that_the_rules_find_beside_what_cannot_be_read(
    cast: Cast, client_of: ClientOf
) -> None:
    answer = put(client_of("volunteer"), typed(cast, measurements__ph__value="74", ended_at="noon"))
    assert {"measurements-ph-value", "ended_at"} <= set(controls(answer))


@pytest.mark.parametrize("site", ["", "nonsense", "6c70b53b-3434-40bf-be4f-93d42319f208"])
def test_it_refuses_a_form_for_no_site_of_the_group(cast: Cast, client_of: ClientOf, site: str) -> None:
    answer = put(client_of("volunteer"), typed(cast, site=site))
    assert (answer.status_code, list(controls(answer))) == (422, ["site"])


def test_it_refuses_a_form_for_a_site_of_ones_other_group(cast: Cast, client_of: ClientOf) -> None:
    MembershipFactory(group=cast.neighbour, user=cast.volunteer)
    answer = put(client_of("volunteer"), typed(cast, site=str(cast.neighbour_site.pk)))
    assert (answer.status_code, list(controls(answer))) == (422, ["site"])


def test_it_tells_a_stranger_nothing_of_a_form_either(cast: Cast, client_of: ClientOf) -> None:
    answer = put(client_of("stranger"), {"site": "nonsense"})
    assert (answer.status_code, answer.json()["problems"]) == (404, [])


def test_a_visit_to_a_site_closed_meanwhile_is_taken_and_marked(cast: Cast, client_of: ClientOf) -> None:
    cast.site.closed_on = days_ago(5)
    cast.site.save()
    answer = put(client_of("volunteer"), typed(cast))
    assert answer.status_code == 201
    assert any("closed" in each["message"] for each in answer.json()["findings"])


def test_it_takes_a_visit_made_before_the_site_was_closed(cast: Cast, client_of: ClientOf) -> None:
    cast.site.closed_on = days_ago(0)
    cast.site.save()
    assert put(client_of("volunteer"), typed(cast)).status_code == 201


# -- the list that the form showed


def own_list(cast: Cast, *taxa: str) -> RecordingList:
    return create_list(
        person=cast.person("coordinator"),
        group=cast.group,
        name="Our list",
        lines=read_lines("\n".join(taxa)),
    )


def test_a_visit_typed_on_an_older_list_keeps_that_list(cast: Cast, client_of: ClientOf) -> None:
    old = own_list(cast, "Baetidae", "Elmidae", "Perlidae")
    cast.site.recording_list = old
    cast.site.save()
    new = change_list(
        person=cast.person("coordinator"),
        recording_list=old,
        name="Our list",
        lines=read_lines("Baetidae\nGammaridae"),
    )
    cast.site.refresh_from_db()
    assert cast.site.recording_list == new
    assert put(client_of("volunteer"), typed(cast, recording_list=str(old.pk))).status_code == 201
    assert Visit.objects.of_group(cast.group).get().recording_list == old


def test_it_keeps_the_list_in_a_visit_sent_as_json_too(cast: Cast, client_of: ClientOf) -> None:
    from tests.factories import data_for

    old = own_list(cast, "Baetidae", "Elmidae")
    data = data_for(cast.site, recording_list=str(old.pk))
    assert client_of("volunteer").put(address("visits", data["id"]), data, format="json").status_code == 201
    assert Visit.objects.of_group(cast.group).get().recording_list == old


@pytest.mark.parametrize("whose", ["neighbour", "unknown", "nonsense"])
def test_it_refuses_a_list_that_is_not_the_groups(cast: Cast, client_of: ClientOf, whose: str) -> None:
    theirs = RecordingList.objects.create(
        group=cast.neighbour, slug="theirs", name="Theirs", level=RecordingList.Level.FAMILY
    )
    number = {"neighbour": str(theirs.pk), "unknown": str(uuid4()), "nonsense": "x"}[whose]
    answer = put(client_of("volunteer"), typed(cast, recording_list=number))
    assert (answer.status_code, list(controls(answer))) == (422, ["recording_list"])


# -- whatever is sent

NAMES = [
    "site",
    "visited_on",
    "was_made",
    "recorder",
    "recording_list",
    "partner",
    "kit",
    "notes",
    "started_at",
    "checklist_at",
    "spots-1-kicks",
    "spots-1-timed",
    "spots-99-seconds",
    "spots-x-kicks",
    "measurements-ph-value",
    "measurements--unit",
    "counts-Baetidae-count",
    "counts--count",
    "counts-Elmidae-range",
    "other-1-name",
    "other-1-count",
    "other-1-as",
    "whole-1-name",
    "fraction_sorted",
]
junk = st.one_of(
    st.text(st.characters(codec="utf-8"), max_size=40),
    st.sampled_from(
        ["", "\x00", "9" * 400, "1e400", "present", "no", str(uuid4()), "<b>", "-1", "1/0", "{}", "[1]"]
    ),
)


@settings(
    max_examples=tries(80),
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.dictionaries(st.sampled_from(NAMES), junk, max_size=8))
def test_it_answers_junk_with_words(cast: Cast, client_of: ClientOf, fields: dict[str, str]) -> None:
    with transaction.atomic():
        answer = put(client_of("volunteer"), typed(cast) | fields)
        transaction.set_rollback(True)
    assert answer.status_code in {201, 422}, answer.content
    assert answer.status_code == 201 or all(each["message"] for each in answer.json()["problems"])


# -- who is signed in


def test_it_sends_nothing_under_another_persons_session(cast: Cast, client_of: ClientOf) -> None:
    headers = {"X-Rifflebook-Person": str(cast.volunteer.pk)}
    answer = put(client_of("other_volunteer"), typed(cast), **headers)
    assert answer.status_code == 409
    assert [problem["rule"] for problem in answer.json()["problems"]] == ["other_person"]
    assert not Visit.objects.of_group(cast.group).exists()
    assert put(client_of("volunteer"), typed(cast), **headers).status_code == 201


def test_it_holds_reading_to_the_person_meant_as_well(cast: Cast, client_of: ClientOf) -> None:
    meant = {"X-Rifflebook-Person": str(cast.volunteer.pk)}
    assert client_of("other_volunteer").get("/api/v1/groups/", headers=meant).status_code == 409
    assert client_of("volunteer").get("/api/v1/groups/", headers=meant).status_code == 200


def test_nobody_is_told_to_sign_in_and_never_sent_to_a_page(cast: Cast) -> None:
    answer = put(Client(), typed(cast), **{"X-Rifflebook-Person": str(cast.volunteer.pk)})
    assert (answer.status_code, answer["Content-Type"]) == (401, "application/problem+json")


def test_a_stale_token_can_be_told_from_a_refusal(cast: Cast) -> None:
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(cast.volunteer)
    stale = put(client, typed(cast))
    assert (stale.status_code, stale.json()["problems"][0]["rule"]) == (403, "stale_token")
    token = client.get("/bank/state/").json()["token"]
    assert put(client, typed(cast), **{"X-CSRFToken": token}).status_code == 201


def test_it_takes_visits_to_any_site_of_any_role(cast: Cast, client_of: ClientOf) -> None:
    other = SiteFactory(group=cast.group, code="AB2")
    MembershipFactory(group=cast.group, user=cast.stranger, role=Role.COORDINATOR)
    assert put(client_of("stranger"), typed(cast, site=str(other.pk))).status_code == 201
